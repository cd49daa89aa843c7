"""Which changes of a modification to blame for what fails: the smallest sets that, undone, restore it.

Every set of changes is a hold of its own.  It is asked about what fails only where no run that is known can be done
in it; so most sets cost a reading and no proof.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from interlock.hold.language.model import Change, Hold
from interlock.study.causes.differences import Difference, differences_of
from interlock.study.causes.trials import Bench
from interlock.study.verify import Status

MOST_SETS = 256
"""Sets of changes that are tried."""
GOOD = (Status.HOLDS, Status.VACUOUS)


@dataclass(frozen=True, slots=True)
class BlamedChanges:
    """The smallest sets of changes that, undone together, restore one requirement; each proved.

    `complete`: every set without one of these in it was shown to leave the requirement failing, or makes no
    description.  `before`: it fails without any of the changes too.  `differences` are what the first of the sets did.
    """

    sets: tuple[tuple[Change, ...], ...]
    complete: bool
    before: bool
    differences: tuple[Difference, ...] = ()


def blame_changes(bench: Bench, without: Callable[[frozenset[int]], Hold | None]) -> Mapping[str, BlamedChanges]:
    """By the id of each requirement that fails; nothing where the hold is no modification.

    `without` gives the hold with some changes undone, None where that is no description.
    """
    changes: dict[int, list[Change]] = {}
    verification = bench.verification
    for change in verification.compiled.hold.changes:
        changes.setdefault(change.item, []).append(change)
    failing = [a.instance.requirement.id for a in verification.answers if a.status is Status.FAILS]
    if not changes or not failing:
        return {}
    trial = _Undoing(bench, without)
    base = trial.restored(frozenset(changes), failing)
    before = [id for id in failing if base.get(id) is False]
    found: dict[str, list[frozenset[int]]] = {id: [] for id in failing if id not in before}
    open = {id: id in base for id in found}  # undecided ones are neither restored nor known to fail
    complete = dict.fromkeys(found, True)
    tried = 0
    # without any to be found there would be all subsets to go through, of as many changes as there are
    for undone in _by_size(changes) if found else ():
        if bench.is_over():
            complete = dict.fromkeys(found, False)
            break
        asked = [id for id, sets in found.items() if not any(one <= undone for one in sets)]
        if not asked:
            continue
        if tried == MOST_SETS:
            complete.update(dict.fromkeys(asked, False))
            break
        tried += 1
        verdict = base if len(undone) == len(changes) else trial.restored(undone, asked)
        for id in asked:
            if verdict.get(id):
                found[id].append(undone)
            elif id not in verdict and not trial.senseless:
                complete[id] = False
    told = {}
    for id, sets in found.items():
        if sets or open[id]:
            blamed = tuple(tuple(c for n in sorted(one) for c in changes[n]) for one in sets)
            told[id] = BlamedChanges(blamed, complete[id], False, trial.differences(sets[0]) if sets else ())
    return told | {id: BlamedChanges((), True, True) for id in before}


def _by_size(changes: Mapping[int, object]) -> Iterator[frozenset[int]]:
    for size in range(1, len(changes) + 1):
        yield from map(frozenset, combinations(sorted(changes), size))


class _Undoing:
    """Holds with changes undone; `senseless`: the last one was no description."""

    def __init__(self, bench: Bench, without: Callable[[frozenset[int]], Hold | None]) -> None:
        self._bench = bench
        self._without = without
        self.senseless = False
        self._differences: dict[frozenset[int], tuple[Difference, ...]] = {}

    def differences(self, undone: frozenset[int]) -> tuple[Difference, ...]:
        """What those changes did, if they were the last to be carried out."""
        if undone not in self._differences:
            before = self._without(undone)
            compiled = self._bench.verification.compiled
            self._differences[undone] = () if before is None else tuple(differences_of(compiled, before))
        return self._differences[undone]

    def restored(self, undone: frozenset[int], ids: Sequence[str]) -> dict[str, bool]:
        """For each of the requirements whether it holds there; left out where that was not decided.

        What the hold does not have anything for is no more broken.
        """
        hold = self._without(undone)
        model = None if hold is None else self._bench.built(hold, ids)
        self.senseless = model is None
        if model is None:
            return {}
        bench = self._bench
        still = [
            id
            for id in ids
            if id in model.questions and any(bench.can_do(model, run, id) for run in bench.bad.get(id, ()))
        ]
        asked = [id for id in ids if id not in still]
        there = [id for id in asked if any(one.requirement.id == id for one in model.compiled.instances)]
        found = bench.prove(model, there) if there else {}
        verdict = dict.fromkeys(still, False) | dict.fromkeys(set(asked) - set(there), True)
        verdict |= {id: status in GOOD for id, status in found.items() if status in (*GOOD, Status.FAILS)}
        return verdict
