"""What a hold is with every combination of its options, as it is told, whatever the format."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic
from interlock.hold.compile.compiler import CompiledHold
from interlock.hold.language.model import Hold, Option
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode
from interlock.hold.loader import FileRead
from interlock.hold.overlay.changes import CHANGES
from interlock.kernel.machine import RequirementKind
from interlock.report.views.assumptions import CAUTIONS, assumptions_of
from interlock.report.views.facts import PROGRAM, what_is_asked
from interlock.report.views.family_facts import (
    CombinationFacts,
    FailsWithFacts,
    FamilyFacts,
    FittableFacts,
    NotCompilingFacts,
    OutcomeFacts,
)
from interlock.report.views.identification import identification
from interlock.report.views.proof import story_facts
from interlock.report.views.tones import Tone
from interlock.report.views.wording import count_of, listed
from interlock.study.families.configurations import Term, terms_of
from interlock.study.families.families import Family, Outcome, Shown

OPTIONS = (
    "What is fitted is fitted from the start and stays so. Nothing is fitted but what the description lists as an "
    "option, and only together as it allows.",
    "What follows is told of the hold with nothing more fitted. Where a fitted option changes the floor, the supplies, "
    "who is about or what may fail, it is as the option says.",
)
NOT_WHOLE = (
    "Of {allowed} {compared} were compiled by themselves and compared with what was asked about: no option, each by "
    "itself, all that go together, others so that whatever three options can be, fitted or not, is so in one of them, "
    "and some by lot. What four or more options do only together, and none of these shows, would be missed. --every "
    "compares them all."
)


@frozen
class SameFate:
    """Requirements of one text that come out the same way in the same configurations."""

    outcomes: tuple[OutcomeFacts, ...]

    @property
    def first(self) -> OutcomeFacts:
        """The one that is told for all."""
        return self.outcomes[0]


@frozen
class FamilyView:
    """What is told."""

    facts: FamilyFacts

    @property
    def tone(self) -> Tone:
        """That of the worst that came out."""
        return {0: Tone.GOOD, 1: Tone.BAD, 4: Tone.LOUD}.get(self.facts.exit_code, Tone.OPEN)

    @property
    def summary(self) -> str:
        """`144 configurations of 8 options; of 230 requirements 219 hold in all, 11 fail in some`."""
        facts = self.facts
        if not facts.outcomes:
            return f"{count_of(facts.allowed, 'configuration')}; nothing was asked"
        said = f"{count_of(facts.asked, 'configuration')} of {count_of(len(facts.options), 'option')}"
        failing = sum(bool(one.fails_in) for one in facts.outcomes)
        undecided = sum(bool(one.undecided_in) and not one.fails_in for one in facts.outcomes)
        holding = len(facts.outcomes) - failing - undecided
        parts = [f"{holding} {'holds' if holding == 1 else 'hold'} in all"]
        parts += [f"{failing} {'fails' if failing == 1 else 'fail'} in some"] if failing else []
        parts += [f"{undecided} undecided"] if undecided else []
        return f"{said}; of {count_of(len(facts.outcomes), 'requirement')} {', '.join(parts)}"

    @property
    def extent(self) -> str:
        """How many configurations, and how far they were compared."""
        facts = self.facts
        if facts.not_merged:
            return f"Nothing was asked: {facts.not_merged}."
        allowed = count_of(facts.allowed, "configuration")
        if facts.whole:
            return f"Of {allowed} every one was compiled by itself and is what was asked about."
        return NOT_WHOLE.format(allowed=allowed, compared=facts.compared)

    @property
    def failing(self) -> tuple[SameFate, ...]:
        """What fails somewhere; of one text what fails in the same configurations is told once."""
        return _same(one for one in self.facts.outcomes if one.fails_in)

    @property
    def undecided(self) -> tuple[SameFate, ...]:
        """What is not decided somewhere."""
        return _same(one for one in self.facts.outcomes if one.undecided_in)

    @property
    def vacuous(self) -> tuple[SameFate, ...]:
        """What holds only because its situation never arises, in some or all configurations."""
        return _same(one for one in self.facts.outcomes if one.vacuous_in)

    @property
    def disputed(self) -> tuple[OutcomeFacts, ...]:
        """What two parts of the program say different things of."""
        return tuple(one for one in self.facts.outcomes if one.disputed)

    def said(self, combination: CombinationFacts) -> str:
        """`with A and B, without C`; `whatever is fitted` where nothing matters."""
        parts = [f"with {listed(combination.fitted)}"] if combination.fitted else []
        parts += [f"without {listed(combination.without, 'or')}"] if combination.without else []
        return ", ".join(parts) or "whatever is fitted"

    def said_of(self, fate: SameFate) -> str:
        """The sentence of the first, and how many more come out the same way."""
        more = len(fate.outcomes) - 1
        return f"{fate.first.text} (and {more} more like it)" if more else fate.first.text

    def shown(self, failing: FailsWithFacts) -> str:
        """The configuration that is told of."""
        return f"with {listed(failing.shown)} fitted" if failing.shown else "with nothing fitted"

    def where(self, one: OutcomeFacts) -> tuple[str, ...]:
        """Where it fails, or of what can be done where that is possible, one sentence each."""
        if one.possible_when is not None:
            if not one.possible_when:
                return ("can be done in no configuration",)
            return ("possible only " + "; or ".join(map(self.said, one.possible_when)),)
        return tuple(f"fails {self.said(failing.combination)}" for failing in one.fails_with)


def _same(outcomes: Iterable[OutcomeFacts]) -> tuple[SameFate, ...]:
    groups: dict[tuple[object, ...], list[OutcomeFacts]] = {}
    for one in outcomes:
        terms = tuple(failing.combination for failing in one.fails_with)
        fate = one.from_, terms, one.possible_when, one.vacuous_in == one.asked_in, one.undecided_in, one.reason
        groups.setdefault(fate, []).append(one)
    return tuple(SameFate(tuple(ones)) for ones in groups.values())


def family_view(
    label: str, compiled: CompiledHold, family: Family, code: int, read: Sequence[FileRead] = ()
) -> FamilyView:
    """What is told of the family; `label` is what the reader calls the hold, `compiled` it with nothing more fitted,
    `read` are the files that were read."""
    space = family.space
    facts = FamilyFacts(
        1,
        PROGRAM,
        code,
        label,
        family.hold.title,
        tuple(_option(family.hold, one) for one in family.hold.options if one.id in space.options),
        family.hold.fitted,
        space.allowed.bit_count(),
        family.compiling.bit_count(),
        family.compared.bit_count(),
        family.is_whole and not family.unmerged,
        tuple(
            NotCompilingFacts(_combination(term), tuple(dict.fromkeys(map(_fault, faults))))
            for term, faults in family.not_compiling
        ),
        family.unmerged,
        tuple(_outcome(family, one) for one in family.outcomes),
        (*OPTIONS, *assumptions_of(compiled)),
        CAUTIONS,
        identification(read),
    )
    return FamilyView(facts)


def _fault(fault: Diagnostic) -> str:
    """What is wrong, and where: it may be in another file than that of the options."""
    return f"{fault.message} ({fault.span.file}, line {fault.span.line})"


def _option(hold: Hold, option: Option) -> FittableFacts:
    excluded_by = (other.id for other in hold.options if option.id in other.excludes)
    excludes = tuple(dict.fromkeys((*option.excludes, *excluded_by)))
    changes = tuple(_change(node) for node in option.changes)
    return FittableFacts(option.id, option.name, changes, excludes, option.needs)


def _change(node: Node) -> str:
    """`change D1`, as the description writes it."""
    if not isinstance(node, MappingNode):
        return ""
    verb = next(entry for entry in node.entries if entry.key.text in CHANGES)
    target = verb.value
    if isinstance(target, ScalarNode):
        return f"{verb.key.text} {target.text}"
    sections = [entry.key.text for entry in target.entries] if isinstance(target, MappingNode) else []
    return f"{verb.key.text} {listed(sections)}"


def _combination(term: Term) -> CombinationFacts:
    return CombinationFacts(term.fitted, term.without)


def _outcome(family: Family, one: Outcome) -> OutcomeFacts:
    space = family.space
    kind = one.instance.requirement.kind
    possible: Sequence[Term] | None = None
    if kind is RequirementKind.CAN and one.fails:
        possible = terms_of(space, one.where & ~one.fails & ~one.undecided, space.everything & ~one.where)
    return OutcomeFacts(
        *what_is_asked(one.instance),
        kind.value,
        one.instance.origin.source,
        one.where.bit_count(),
        one.fails.bit_count(),
        one.vacuous.bit_count(),
        one.undecided.bit_count(),
        one.reason,
        tuple(_failing(shown) for shown in one.shown),
        None if possible is None else tuple(map(_combination, possible)),
        one.checked_by,
        one.disputed,
    )


def _failing(shown: Shown) -> FailsWithFacts:
    story = None if shown.story is None else story_facts(shown.story)
    return FailsWithFacts(_combination(shown.term), shown.fitted, shown.alone, story)
