"""Every slip of a procedure with an action of each sort, as it is listed and told."""

from __future__ import annotations

from functools import cache
from itertools import pairwise

from interlock.hold.loader import Source, load_hold, load_procedure
from interlock.hold.procedure.binding import BoundProcedure, bind_procedure, compile_for
from interlock.study.procedure.graph import procedure_graph
from interlock.study.procedure.slips import Slip, SlipKind, alike, slips_of
from tests.agreement.hold_texts import doorway, fetch, hold_text

HOLD = hold_text(
    rows=3,
    ball_mat="[1C, 2C, 3C]",
    pushing="always",
    doorways="\n".join((doorway("[1C, 2C]", "left", moves="always"), doorway("3C", "right", id="D2", moves="always"))),
    devices="""\
- {id: M1, kind: manual latch, on: 1C.aft, stops: [aft], restrains: [x], locking: raised, starts: lowered}
- {id: M2, kind: manual latch, on: 2C.aft, stops: [aft], restrains: [x], locking: raised, starts: lowered}""",
    rest="""\
supplies:
  - {id: GP, starts: [off, on], may_be_lost: true}
  - {id: AP, starts: [off, on], may_be_lost: true}
controls:
  - {id: SW, kind: switch, positions: [off, low, high], starts: off}
  - {id: SX, kind: switch, positions: [off, on], starts: off}
  - {id: LV, kind: lever, positions: [fore, aft]}
  - {id: LW, kind: lever, positions: [fore, aft]}
zones:
  - id: Z
    bays: [1C, 2C, 3C]
    power: GP is on
    commands: [{fore: LV is fore or LW is fore, aft: LV is aft or LW is aft}]
places:
  - {id: out, bay: outside, reaches: []}
  - {id: inn, bay: 1C, reaches: [M1, M2]}
people:
  - {id: P1, places: [out, inn], starts: out, moves: always}
  - {id: P2, places: [out, inn], starts: out, moves: always}
""",
)
PROC = """\
interlock: 1
procedure: All sorts
hold: test.yaml
start: {GP: off, AP: off}
goal: "true"
steps:
  - connect GP
  - set SW to low
  - bring HALF to D1 beside 1C
  - run loader in at D1 beside 1C until 1C is occupied
  - hold LV to aft until 2C is occupied
  - group: Latch it
    steps:
      - go P1 to inn
      - raise M2
      - check M2 is raised
      - go P1 to out
  - push fore from 2C until 1C is occupied
  - run loader out at D1 beside 1C until 1C is empty
  - take away from D1 beside 1C
  - close D1
"""


@cache
def bound() -> BoundProcedure:
    described = load_hold(Source("test.yaml", HOLD.encode()), fetch)
    written = load_procedure(Source("p.yaml", PROC.encode()))
    assert described.value is not None and written.value is not None
    compilation = compile_for(described.value, written.value, ())
    assert compilation.compiled is not None, compilation.diagnostics
    binding = bind_procedure(written.value, compilation.compiled)
    assert binding.bound is not None, binding.diagnostics
    return binding.bound


@cache
def slips() -> tuple[Slip, ...]:
    return slips_of(bound())


def instead(kind: SlipKind) -> list[tuple[int, str]]:
    """What is done in the place of which action, counted from 1."""
    return [(s.action + 1, s.instead.action.text) for s in slips() if s.kind is kind and s.instead is not None]


TEXTS = [action.action.text for action in bound().actions]
LOOK = TEXTS.index("check M2 is raised")


def test_each_action_can_be_left_out() -> None:
    """To leave out an action is one slip, of a check another sort; the procedure goes on with the next."""
    left_out = [s for s in slips() if s.kind in (SlipKind.OMITTED, SlipKind.UNCHECKED)]
    assert [(s.action, s.text, s.instead, s.resumes) for s in left_out] == [
        (at, f"'{text}' is left out", None, at + 1) for at, text in enumerate(TEXTS)
    ]
    assert [s.action for s in left_out if s.kind is SlipKind.UNCHECKED] == [LOOK]
    assert [s.id for s in left_out] == [f"{n} {'check ' * (n == LOOK + 1)}omitted" for n in range(1, len(TEXTS) + 1)]


def test_each_deed_can_be_done_twice() -> None:
    """What is looked at twice does no harm; all else can be done twice, and the next action follows."""
    twice = [s for s in slips() if s.kind is SlipKind.REPEATED]
    deeds = [(at, text) for at, text in enumerate(TEXTS) if at != LOOK]
    assert [(s.id, s.action, s.text, s.resumes) for s in twice] == [
        (f"{at + 1} repeated", at, f"'{text}' is done twice", at + 1) for at, text in deeds
    ]
    assert instead(SlipKind.REPEATED) == [(at + 1, text) for at, text in deeds]


def test_neighbours_can_be_swapped() -> None:
    """Each action but the last can come after the next, which is then done once; the one after that follows."""
    swapped = [s for s in slips() if s.kind is SlipKind.SWAPPED]
    assert [(s.id, s.text, s.resumes) for s in swapped] == [
        (f"{at + 1} swapped", f"'{after}' is done before '{text}'", at + 2)
        for at, (text, after) in enumerate(pairwise(TEXTS))
    ]
    assert instead(SlipKind.SWAPPED) == [(at + 1, after) for at, after in enumerate(TEXTS[1:])]


def test_wrong_ways() -> None:
    """The other positions of what is set or held, the other way of a push, the opposite of all that has one."""
    assert instead(SlipKind.WRONG_WAY) == [
        (1, "disconnect GP"),
        (2, "set SW to off"),
        (2, "set SW to high"),
        (4, "run loader out at D1 beside 1C"),
        (5, "hold LV to fore"),
        (7, "lower M2"),
        (10, "push aft from 2C"),
        (11, "run loader in at D1 beside 1C"),
        (13, "open D1"),
    ]


def test_wrong_objects() -> None:
    """The other things of the same kind that can be worked so, and the other bay of the same sill."""
    assert instead(SlipKind.WRONG_OBJECT) == [
        (1, "connect AP"),
        (3, "bring HALF to D1 beside 2C"),
        (4, "run loader in at D1 beside 2C"),
        (5, "hold LW to aft"),
        (6, "go P2 to inn"),
        (7, "raise M1"),
        (9, "go P2 to out"),
        (11, "run loader out at D1 beside 2C"),
        (12, "take away from D1 beside 2C"),
        (13, "close D2"),
    ]


def test_what_is_done_wrongly_is_done_in_its_place() -> None:
    """The text names both, the id what is done, and the next action follows; what is done is what the words say."""
    for slip in slips():
        if slip.kind in (SlipKind.WRONG_WAY, SlipKind.WRONG_OBJECT):
            assert slip.instead is not None
            said = slip.instead.action.text
            assert slip.id == f"{slip.action + 1} {slip.kind.word}: {said}"
            assert slip.text == f"'{said}' is done in the place of '{TEXTS[slip.action]}'"
            assert slip.resumes == slip.action + 1
            assert slip.instead.rules and slip.instead.rules != bound().actions[slip.action].rules
    assert len({slip.id for slip in slips()}) == len(slips())
    assert [slip.action for slip in slips()] == sorted(slip.action for slip in slips())


def test_a_slip_is_made_where_it_belongs() -> None:
    """A repetition begins behind its action, all else before it; from there on no way leads but to where it resumes.

    Only a check can end the procedure before that.
    """
    graph = procedure_graph(bound(), slips())
    assert graph.slips == slips()
    after: dict[int, set[int]] = {}
    for move in graph.moves:
        if move.slip is None:
            after.setdefault(move.source, set()).add(move.dest)
    for place, slip in enumerate(slips()):
        made = [move for move in graph.moves if move.slip == place]
        assert {move.source for move in made} == {graph.starts[slip.action + (slip.kind is SlipKind.REPEATED)]}
        seen = {move.dest for move in made}
        ahead = list(seen - {*graph.starts})
        while ahead:
            fresh = after.get(ahead.pop(), set()) - seen
            seen |= fresh
            ahead += fresh - {*graph.starts}
        assert seen & {*graph.starts} == {graph.starts[slip.resumes]}, slip.id
        ends = {graph.points[at].action for at in seen if graph.points[at].stopped}
        assert ends <= {LOOK} & {slip.action, slip.action + 1}


def test_a_group_can_be_left_off() -> None:
    """Before each action of a group but the first and the last; the procedure goes on behind the group."""
    assert [(s.id, s.action, s.text, s.instead, s.resumes) for s in slips() if s.kind is SlipKind.INCOMPLETE] == [
        ("7 to 9 left out", 6, "'Latch it' is left off before 'raise M2'", None, 9),
        ("8 to 9 left out", 7, "'Latch it' is left off before 'check M2 is raised'", None, 9),
    ]


def test_alike() -> None:
    """Things of one kind, in the order of the description, without the one asked about; a bay is like nothing."""
    compiled = bound().compiled
    found = {id: alike(compiled, id) for id in ("M1", "SW", "LV", "D1", "D2", "GP", "P2", "1C")}
    assert found == {
        "M1": ("M2",),
        "SW": ("SX",),
        "LV": ("LW",),
        "D1": ("D2",),
        "D2": ("D1",),
        "GP": ("AP",),
        "P2": ("P1",),
        "1C": (),
    }
