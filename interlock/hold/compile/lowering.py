"""Names and states resolved: from syntax trees to kernel expressions.

Every fault becomes a diagnostic; lowering goes on behind it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.diagnostics.nearest import nearest_name
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.compile.world import Part, Thing, World
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Step, Syntax, Truth
from interlock.hold.origin import Meaning, Sort
from interlock.kernel.expressions import FALSE, TRUE, Expr, at_most_one, conj, disj, implies, neg


@dataclass(slots=True)
class Lowering:
    """Turns syntax into expressions over one world and collects what is wrong with it.

    `owner` is what the expression decides (None: it is a requirement's).
    """

    world: World
    owner: Meaning | None = None
    faults: list[Diagnostic] = field(default_factory=list)

    def expression(self, syntax: Syntax, bound: Mapping[str, Thing] | None = None) -> Expr:
        """The meaning of the syntax; where it has none, a diagnostic is kept and `false` stands in."""
        names = bound or {}
        if isinstance(syntax, Truth):
            return TRUE if syntax.value else FALSE
        if isinstance(syntax, Negation):
            return neg(self.expression(syntax.arg, names))
        if isinstance(syntax, Chain):
            args = [self.expression(arg, names) for arg in syntax.args]
            if syntax.operator == "implies":
                return implies(args[0], args[1])
            return conj(*args) if syntax.operator == "and" else disj(*args)
        if isinstance(syntax, Quantified):
            return self._quantified(syntax, names)
        return self._fact(syntax, names)

    def _quantified(self, syntax: Quantified, names: Mapping[str, Thing]) -> Expr:
        members = self.group(syntax.group, names)
        if members is None:
            return FALSE
        # where there are no members the body is not read: nobody knows what its words are about
        bodies = [self.expression(syntax.body, {**names, syntax.variable: member}) for member in members]
        if syntax.quantifier == "every":
            return conj(*bodies)
        if syntax.quantifier == "some":
            return disj(*bodies)
        if syntax.quantifier == "no":
            return neg(disj(*bodies))
        return at_most_one(bodies)

    def _fact(self, fact: Fact, names: Mapping[str, Thing]) -> Expr:
        found = self.find(fact.subject, names)
        if found is None:
            return FALSE
        if isinstance(found, tuple):
            text = ".".join(fact.subject.parts)
            self._fault("wrong-object-kind", fact.span, f"{text} is a group", "one object; write `every x in ...`")
            return FALSE
        if fact.state is None:
            if found.truth is None:
                self._fault(
                    "not-a-truth-value",
                    fact.span,
                    f"{found.phrase} ({found.sort}) is not true or false by itself",
                    "`is` and one of " + ", ".join(sorted(found.states)),
                )
                return FALSE
            return self.reading(found, None, found.truth)
        kind = names.get(fact.state)
        # `b is k`, where `k` runs through kinds of unit: the state is called like the kind
        state = kind.id if kind is not None and kind.sort is Sort.KIND_OF_UNIT else fact.state
        if state not in found.states:
            if self.world.may_lack_state(found, state):
                return FALSE
            self._fault(
                "unknown-state",
                fact.state_span or fact.span,
                f"{found.phrase} ({found.sort}) is never {state!r}",
                "one of " + ", ".join(sorted(found.states)) if found.states else "nothing: it has no states",
                nearest_name(state, found.states),
            )
            return FALSE
        expr = self.reading(found, state, found.seen_by(self.owner, state))
        return neg(expr) if fact.negated else expr

    def reading(self, found: Thing, state: str | None, expr: Expr) -> Expr:
        """What stands for the state of the thing, or for its being true; whoever eases a hold takes note of it."""
        return expr

    def find(self, path: Path, names: Mapping[str, Thing] | None = None) -> Part | None:
        """What the path names, or None with a diagnostic kept."""
        bound = names or {}
        first = path.parts[0]
        found: Part | None = bound.get(first, self.world.things.get(first, self.world.groups.get(first)))
        if found is None and (self.world.may_lack(first) or self.world.may_lack_steps):
            return None
        if found is None and first in self.world.removed:
            gone = self.world.removed[first]
            self.faults.append(
                Diagnostic(
                    "unknown-name",
                    path.spans[0],
                    f"{first!r} was taken out by a modification",
                    "the modification to change this too",
                    context=(f"taken out at {gone.file}, line {gone.line}",),
                )
            )
            return None
        if found is None:
            known = [*bound, *self.world.things, *self.world.groups]
            self._fault("unknown-name", path.spans[0], f"{first!r} is not known here", None, nearest_name(first, known))
            return None
        for word, span in zip(path.parts[1:], path.spans[1:], strict=True):
            if isinstance(found, tuple):
                self._fault("wrong-object-kind", span, "a group has no parts", "one object before the dot")
                return None
            if word not in found.parts:
                if self.world.may_lack_steps:
                    return None
                self._fault(
                    "unknown-name",
                    span,
                    f"{found.phrase} ({found.sort}) has no {word!r}",
                    "one of " + ", ".join(sorted(found.parts)) if found.parts else "nothing: it has no parts",
                    nearest_name(word, found.parts),
                )
                return None
            found = self.world.part(found, word)
        return found

    def group(self, path: Path, names: Mapping[str, Thing] | None = None) -> tuple[Thing, ...] | None:
        """The members of the group that the path names, or None with a diagnostic kept."""
        first = path.parts[0]
        if len(path.parts) == 1 and first not in (names or {}):
            if first in self.world.groups:
                return self.world.groups[first]
            if first not in self.world.things and not self.world.may_lack(first):
                self._fault(
                    "unknown-group",
                    path.spans[0],
                    f"no group is called {first!r}",
                    "one of " + ", ".join(sorted(self.world.groups)),
                    nearest_name(first, self.world.groups),
                )
                return None
        found = self.find(path, names)
        if found is None or isinstance(found, tuple):
            return found
        self._fault(
            "wrong-object-kind", path.spans[0], f"{found.phrase} ({found.sort}) is one object", "a group of objects"
        )
        return None

    def steps(self, steps: tuple[Step, ...], names: Mapping[str, Thing] | None = None) -> frozenset[str]:
        """The names of the deeds that the steps speak of; a group as subject means any of its members."""
        deeds: set[str] = set()
        for step in steps:
            found = self.find(step.subject, names)
            members = (found,) if isinstance(found, Thing) else found or ()
            known = sorted({verb for member in members for verb in member.verbs})
            if members and step.verb not in known and not self.world.may_lack_steps:
                self._fault(
                    "unknown-verb",
                    step.span,
                    f"nothing called {step.verb!r} happens to {members[0].phrase} ({members[0].sort})",
                    "one of " + ", ".join(known) if known else "nothing: no step touches it",
                    nearest_name(step.verb, known),
                )
            for member in members:
                deeds.update(member.verbs.get(step.verb, ()))
        return frozenset(deeds)

    def _fault(self, code: str, span: Span, message: str, expected: str | None, nearest: str | None = None) -> None:
        # the same text is read for every member of a group: what is wrong with it is told of the first
        if not any(known.code == code and known.span == span for known in self.faults):
            self.faults.append(Diagnostic(code, span, message, expected, nearest))
