"""Names across sections: no two things share one, and every name that a field uses is known."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import replace

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.frozen import frozen
from interlock.diagnostics.spans import Diagnostic, Span
from interlock.hold.language.bay_names import BayNames, looks_like_bay
from interlock.hold.language.model import SECTIONS, Thing
from interlock.hold.language.nodes import MappingNode, Node, ScalarNode, SequenceNode, clip
from interlock.hold.language.parser import KEYWORDS, is_name
from interlock.hold.language.reader import Mention
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Syntax

BUILT_IN_GROUPS = (
    "bays",
    "devices",
    "movable_devices",
    "deferred_devices",
    "doors",
    "doors_with_latch",
    "doors_with_lock",
    "powered_doors",
    "zones",
    "contested_zones",
    "stations",
    "controls",
    "levers",
    "supplies",
    "sensors",
    "circuits",
    "indications",
    "relays",
    "people",
    "units",
)
"""Groups that every description has; their names cannot be given to anything else."""

STATES_OF_THEIR_OWN: Mapping[str, tuple[str, ...]] = {
    "units": ("empty", "occupied", "secured", "manned", "driven_one_sided"),
    "places": ("inside",),
}
"""By section, what a bay (`units`) or a person (`places`) can be said to be anyway: `b is secured` means one thing."""


@frozen
class Defined:
    """Where a name was given, in which section, and the `kind` written there, if any."""

    section: str
    kind: str | None
    span: Span


def items_of(root: MappingNode, section: str) -> Iterator[MappingNode]:
    """The items of a section that are mappings, in order."""
    return items_in(root.value(section))


def items_in(node: Node | None) -> Iterator[MappingNode]:
    """The items of a list that are mappings, in order."""
    if isinstance(node, SequenceNode):
        for item in node.items:
            if isinstance(item, MappingNode):
                yield item


def id_of(item: MappingNode) -> ScalarNode | None:
    """The scalar that names an item, or None."""
    node = item.value("id")
    return node if isinstance(node, ScalarNode) and node.text else None


def is_named_after(name: str, ids: Set[str]) -> bool:
    """Whether a name is one of these, or may be that of a place on the loader of a doorway that is called so."""
    words = name.split("-")
    return any("-".join(words[:count]) in ids for count in range(1, len(words) + 1))


def collect_names(root: MappingNode, bays: BayNames | None, faults: Faults) -> dict[str, Defined]:
    """Every name given in a description, the first of each; notes a fault for each that is taken or reserved."""
    names: dict[str, Defined] = {}
    for section, record in SECTIONS.items():
        is_thing = issubclass(record, Thing)
        seen: dict[str, Defined] = {}
        for item in items_of(root, section):
            given = id_of(item)
            if given is None or not is_name(given.text):
                continue
            kind = item.value("kind")
            here = Defined(section, kind.text if isinstance(kind, ScalarNode) else None, given.span)
            table = names if is_thing else seen
            if is_thing:
                _check_free(given, section, item.context, bays, faults)
            earlier = table.get(given.text)
            if earlier is not None:
                noun = SECTIONS[earlier.section].declaration.noun
                context = f"the first is at {_place(earlier.span, given.span)}", *item.context
                message = f"'{clip(given.text)}' is {noun} already"
                faults.add("name-taken", given.span, message, "a name of its own", context=context)
            else:
                table[given.text] = here
    return names


def _place(span: Span, seen_from: Span) -> str:
    within = f"line {span.line}, column {span.column}"
    return within if span.file == seen_from.file else f"{span.file}, {within}"


def _check_free(
    given: ScalarNode, section: str, context: tuple[str, ...], bays: BayNames | None, faults: Faults
) -> None:
    name = given.text
    if name in KEYWORDS:
        return  # told when the item is read
    if name in BUILT_IN_GROUPS:
        said = f"'{name}' is a group that every description has"
    elif name in ("outside", "none") or name in STATES_OF_THEIR_OWN.get(section, ()):
        said = f"'{name}' has a meaning of its own"
    elif bays is not None and name in bays:
        said = f"'{name}' is a bay"
    else:
        return
    faults.add("reserved-name", given.span, said, "another name", context=context)


def resolve_mentions(
    mentions: list[Mention],
    names: Mapping[str, Defined],
    bays: BayNames | None,
    removed: Mapping[str, Span],
    faults: Faults,
) -> frozenset[Mention]:
    """Those that are unknown or of the wrong sort; notes a fault for each.

    `removed` tells where a modification took a thing away.
    """
    unresolved: set[Mention] = set()
    for mention in mentions:
        name, at = clip(mention.name), mention.span
        defined = names.get(mention.name)
        if defined is None:
            found = _unknown(mention, names, bays, removed, faults)
        elif mention.sections is not None and defined.section not in mention.sections:
            noun = SECTIONS[defined.section].declaration.noun
            found = Diagnostic("wrong-object-kind", at, f"'{name}' is {noun}", _nouns(mention.sections))
        elif mention.kinds and defined.kind not in mention.kinds:
            message = f"'{name}' is a {clip(defined.kind or 'thing')}"
            expected = "a control of the kind " + " or ".join(f"'{kind}'" for kind in mention.kinds)
            found = Diagnostic("wrong-object-kind", at, message, expected)
        else:
            found = None
        if found is not None:
            faults.take([replace(found, context=(*found.context, *mention.context))])
            unresolved.add(mention)
    return frozenset(unresolved)


def names_in(
    expressions: Iterable[tuple[Syntax, tuple[str, ...]]], variables: Iterable[str], names: Mapping[str, Defined]
) -> list[Mention]:
    """What expressions name first of all, to be looked up: not their own variables, nor those of requirements.

    Left out are groups that every description has, and places on a loader: whether there is such a place the floor
    tells.  What comes behind a dot or after `is` is looked up where everything has been given its meaning.
    """
    loaders = tuple(f"{name}-" for name, defined in names.items() if defined.section == "doorways")
    free = frozenset((*variables, *BUILT_IN_GROUPS))
    found: list[Mention] = []
    for expression, context in expressions:
        for path in _paths(expression, free):
            name, span = path.parts[0], path.spans[0]
            if not name.startswith(loaders):
                found.append(Mention(name, None, (), True, span, context))
    return found


def _paths(syntax: Syntax, bound: frozenset[str]) -> Iterator[Path]:
    """The paths in an expression that do not begin with a name that is bound there."""
    match syntax:
        case Fact(subject):
            if subject.parts[0] not in bound:
                yield subject
        case Negation(arg):
            yield from _paths(arg, bound)
        case Chain(_, args):
            for arg in args:
                yield from _paths(arg, bound)
        case Quantified(_, variable, group, body):
            if group.parts[0] not in bound:
                yield group
            yield from _paths(body, bound | {variable})


def _nouns(sections: tuple[str, ...]) -> str:
    *nouns, last = (SECTIONS[section].declaration.noun for section in sections)
    return f"{', '.join(nouns)} or {last}" if nouns else last


def _unknown(
    mention: Mention,
    names: Mapping[str, Defined],
    bays: BayNames | None,
    removed: Mapping[str, Span],
    faults: Faults,
) -> Diagnostic | None:
    """What is wrong with a name that is given to nothing; None where it is that of a bay that may stand there."""
    name, at = clip(mention.name), mention.span
    if mention.bays and bays is not None and mention.name in bays.missing:
        message = f"bay '{mention.name}' does not exist: a rule of the layout takes it out"
        return Diagnostic("bay-taken-out", at, message, "a bay that exists")
    if mention.bays and (bays is None or mention.name in bays):
        return None
    if mention.name in removed:
        where = f"taken out at {_place(removed[mention.name], at)}"
        message = f"'{name}' was taken out by a modification"
        return Diagnostic("unknown-name", at, message, "the modification to change this too", context=(where,))
    fitting = [
        name for name, defined in names.items() if mention.sections is None or defined.section in mention.sections
    ]
    if mention.bays and bays is not None:
        if looks_like_bay(mention.name):
            fitting.extend(bays.places)
        expected = "a bay or the id of something"
    else:
        expected = f"the id of {_nouns(mention.sections) if mention.sections else 'something'}"
    nearest = faults.hint(mention.name, fitting)
    return Diagnostic("unknown-name", at, f"nothing is called '{name}'", expected, nearest)
