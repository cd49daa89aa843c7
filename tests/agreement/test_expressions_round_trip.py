"""What is printed reads back as the same tree, and every part of it lies where it was written."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.diagnostics.faults import Faults
from interlock.diagnostics.spans import Span
from interlock.hold.language.nodes import ScalarNode, Stretch
from interlock.hold.language.parser import KEYWORDS, parse_expression, parse_step
from interlock.hold.language.printer import print_step, print_syntax
from interlock.hold.language.syntax import Chain, Fact, Negation, Path, Quantified, Step, Syntax, Truth

NOWHERE = Span("", 1, 1)

names = st.text("abAB019_-", min_size=1, max_size=4).filter(lambda name: name not in KEYWORDS)
paths = st.lists(names, min_size=1, max_size=3).map(lambda parts: Path(tuple(parts), (NOWHERE,) * len(parts)))


def fact(subject: Path, state: str | None, negated: bool) -> Fact:
    """A fact; only one with a state can be negated by itself."""
    return Fact(subject, state, negated and state is not None, NOWHERE)


leaves = st.one_of(
    st.booleans().map(lambda value: Truth(value, NOWHERE)),
    st.builds(fact, paths, st.none() | names, st.booleans()),
)


def larger(inner: st.SearchStrategy[Syntax]) -> st.SearchStrategy[Syntax]:
    """Everything that has `inner` as its parts."""
    chains = st.builds(
        lambda operator, args: Chain(operator, tuple(args), NOWHERE),
        st.sampled_from(["and", "or"]),
        st.lists(inner, min_size=2, max_size=4),
    )
    implications = st.builds(lambda left, right: Chain("implies", (left, right), NOWHERE), inner, inner)
    quantified = st.builds(
        lambda quantifier, variable, group, body: Quantified(quantifier, variable, group, body, NOWHERE),
        st.sampled_from(["every", "some", "no", "at most one"]),
        names,
        paths,
        inner,
    )
    return st.one_of(chains, implications, quantified, inner.map(lambda arg: Negation(arg, NOWHERE)))


trees = st.recursive(leaves, larger, max_leaves=25)


def scalar(text: str) -> ScalarNode:
    """A text as it is read from a plain scalar at the beginning of a line."""
    return ScalarNode(text, Span("x", 1, 1, max(1, len(text))), False, (Stretch(0, 1, 1),))


def without_spans(value: Any) -> Any:
    """A tree with every position alike."""
    if isinstance(value, Span):
        return NOWHERE
    if isinstance(value, tuple):
        return tuple(map(without_spans, value))
    if is_dataclass(value) and not isinstance(value, type):
        changes = {field.name: without_spans(getattr(value, field.name)) for field in fields(value)}
        changes |= {name: None for name in ("state_span", "variable_span") if name in changes}
        return replace(value, **changes)
    return value


def spans_in(value: Any) -> list[Any]:
    """Every node that has a position of its own."""
    found = []
    if isinstance(value, tuple):
        for item in value:
            found.extend(spans_in(item))
    elif is_dataclass(value) and not isinstance(value, Span):
        found.append(value)
        for field in fields(value):
            found.extend(spans_in(getattr(value, field.name)))
    return found


@settings(max_examples=400, deadline=None, derandomize=True)
@given(trees)
def test_what_is_printed_reads_back(tree: Syntax) -> None:
    """parse(print(tree)) == tree, positions aside."""
    faults = Faults()
    text = print_syntax(tree)
    found = parse_expression(scalar(text), faults)
    assert faults.sorted() == ()
    assert without_spans(found) == tree


@settings(max_examples=200, deadline=None, derandomize=True)
@given(trees)
def test_every_part_lies_where_it_was_written(tree: Syntax) -> None:
    """The text at the position of a part reads as that part."""
    text = print_syntax(tree)
    parts = list(spans_in(parse_expression(scalar(text), Faults())))
    assert parts
    for part in parts:
        if isinstance(part, Path):
            for name, span in zip(part.parts, part.spans, strict=True):
                assert text[span.column - 1 : span.column - 1 + span.length] == name
            continue
        excerpt = text[part.span.column - 1 : part.span.column - 1 + part.span.length]
        if excerpt.count("(") == excerpt.count(")"):
            assert without_spans(parse_expression(scalar(excerpt), Faults())) == without_spans(part)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(names, paths)
def test_steps_read_back(verb: str, subject: Path) -> None:
    """parse(print(step)) == step, positions aside."""
    step = Step(verb, subject, NOWHERE)
    assert without_spans(parse_step(scalar(print_step(step)), Faults())) == step


@settings(max_examples=300, deadline=None, derandomize=True)
@given(st.lists(st.sampled_from([*sorted(KEYWORDS), *"().,:{}=!&", "M1", "raised", "D1", "ö", "->", '"']), max_size=30))
def test_any_words_give_a_tree_or_one_fault(words: list[str]) -> None:
    """A text is either an expression or has exactly one fault, which lies in it or just behind."""
    text = " ".join(words)
    faults = Faults()
    found = parse_expression(scalar(text), faults)
    diagnostics = faults.sorted()
    assert (found is None) == (len(diagnostics) == 1)
    for one in diagnostics:
        assert 1 <= one.span.column <= len(text) + 1
    if found is not None:
        assert without_spans(parse_expression(scalar(print_syntax(found)), Faults())) == without_spans(found)


def test_the_generator_is_not_trivial() -> None:
    """Among the trees drawn every kind of node occurs, and some are nested four deep."""
    seen: set[type] = set()
    deepest = 0

    def depth(value: Syntax) -> int:
        seen.add(type(value))
        match value:
            case Negation(arg):
                return 1 + depth(arg)
            case Chain(_, args):
                return 1 + max(map(depth, args))
            case Quantified():
                return 1 + depth(value.body)
            case _:
                return 1

    @settings(max_examples=200, deadline=None, derandomize=True, database=None)
    @given(trees)
    def draw(tree: Syntax) -> None:
        nonlocal deepest
        deepest = max(deepest, depth(tree))

    draw()
    assert seen == {Truth, Fact, Negation, Chain, Quantified}
    assert deepest >= 4
