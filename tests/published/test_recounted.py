"""A second program for each example, on the puzzle's own terms, so that a machine built wrongly is found.

None of these shares code or representation with the machines: sets, closed forms, linear algebra, transfer matrices.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations, permutations, product
from math import comb, factorial

import networkx as nx
import pytest

from interlock.kernel.machine import Machine
from tests.some import some

from . import families, puzzles, sliding
from .graphs import explore


def _goal(machine: Machine) -> int | None:
    return explore(machine).shortest(machine.requirements[0].condition)


def test_farmer_against_sets_of_what_is_left() -> None:
    """Ten allowed states of sixteen, ten edges, two ways of seven crossings: from sets of what is on the near bank."""
    everything = frozenset("fwgc")
    banks = [frozenset(some) for size in range(5) for some in combinations(sorted(everything), size)]

    def is_safe(bank: frozenset[str]) -> bool:
        return all("f" in side or not ({"w", "g"} <= side or {"g", "c"} <= side) for side in (bank, everything - bank))

    safe = [bank for bank in banks if is_safe(bank)]
    edges = [
        (one, two)
        for one, two in combinations(safe, 2)
        if "f" in one ^ two
        and len(one ^ two) <= 2
        # whoever goes along goes the farmer's way
        and (one < two or two < one)
    ]
    graph = nx.Graph(edges)
    assert (len(banks), len(banks) - len(safe), len(safe), len(edges)) == (16, 6, 10, 10)
    routes = list(nx.all_shortest_paths(graph, everything, frozenset()))
    assert [len(route) - 1 for route in routes] == [7, 7]
    reach = explore(puzzles.wolf_goat_cabbage())
    assert (reach.states, reach.steps) == (graph.number_of_nodes(), 2 * graph.number_of_edges())


@pytest.mark.parametrize(("n", "boat"), [(2, 2), (3, 2), (4, 2), (4, 3), (5, 3), (6, 3), (6, 4)])
def test_missionaries_against_bank_pairs(n: int, boat: int) -> None:
    """Reach and solution from a relation between the two banks as pairs, grown until nothing is new."""

    def is_safe(group: tuple[int, int]) -> bool:
        return group[0] == 0 or group[0] >= group[1]

    front = {((n, n), (0, 0))}
    seen = {(*pair, 0) for pair in front}
    crossings, solved, old = 0, None, -1
    while len(seen) > old or crossings % 2:
        old = len(seen) if crossings % 2 == 0 else old
        arrived = set()
        for pair in front:
            home, away = pair if crossings % 2 == 0 else pair[::-1]
            for m, c in product(range(boat + 1), repeat=2):
                left, landed = (home[0] - m, home[1] - c), (away[0] + m, away[1] + c)
                if 1 <= m + c <= boat and min(left) >= 0 and is_safe((m, c)) and is_safe(left) and is_safe(landed):
                    arrived.add((left, landed) if crossings % 2 == 0 else (landed, left))
        crossings += 1
        front = arrived
        seen |= {(*pair, crossings % 2) for pair in front}
        if solved is None and crossings % 2 == 1 and ((0, 0), (n, n)) in front:
            solved = crossings
    machine = puzzles.missionaries(n, boat)
    reach = explore(machine)
    assert reach.shortest(machine.requirements[0].condition) == solved
    assert set(reach.depth) == {(*near, ("near", "far")[trips]) for near, _, trips in seen}


@pytest.mark.parametrize(("couples", "boat"), [(3, 2), (4, 2), (4, 3), (5, 3)])
def test_couples_against_safe_sets_and_components(couples: int, boat: int) -> None:
    """Reach from connected components of a graph over all safe divisions of the people, not from a search."""
    people = [(sex, i) for sex in "mw" for i in range(couples)]

    def is_safe(group: frozenset[tuple[str, int]]) -> bool:
        women = {i for sex, i in group if sex == "w"}
        men = {i for sex, i in group if sex == "m"}
        return not men or women <= men

    everyone = frozenset(people)
    groups = (frozenset(some) for size in range(len(people) + 1) for some in combinations(people, size))
    safe = [group for group in groups if is_safe(group) and is_safe(everyone - group)]
    parties = [frozenset(some) for size in range(1, boat + 1) for some in combinations(people, size)]
    graph: nx.Graph[tuple[frozenset[tuple[str, int]], bool]] = nx.Graph()
    for group in safe:
        for party in parties:
            if party <= group and is_safe(party) and is_safe(group - party) and is_safe(everyone - (group - party)):
                graph.add_edge((group, True), (group - party, False))
    component = nx.node_connected_component(graph, (everyone, True))
    machine = puzzles.jealous_husbands(couples, boat)
    reach = explore(machine)
    assert reach.states == len(component)
    end = (frozenset[tuple[str, int]](), False)
    distance = nx.shortest_path_length(graph, (everyone, True), end) if end in component else None
    assert reach.shortest(machine.requirements[0].condition) == distance


@pytest.mark.parametrize(("a", "b", "target"), [(3, 5, 4), (4, 9, 6), (5, 8, 6), (7, 11, 6)])
def test_jugs_against_modular_arithmetic(a: int, b: int, target: int) -> None:
    """Jugs of coprime sizes: the two ways of pouring round and round are arithmetic modulo the sum, no search.

    Reachable states are those with some jug full or empty.  Filling a and pouring into b until it is full brings k*a
    mod b into b: the step count of each way follows from how often each jug is filled and emptied.
    """
    machine = puzzles.jugs(a, b, target)
    reach = explore(machine)
    rim = {(x, y) for x in range(a + 1) for y in range(b + 1) if x in (0, a) or y in (0, b)}
    assert {tuple(state) for state in reach.depth} == rim

    def polarity(source: int, sink: int) -> int:
        amounts, steps = [0, 0], 0
        while target not in amounts:
            if amounts[0] == 0:
                amounts[0] = source
            elif amounts[1] == sink:
                amounts[1] = 0
            else:
                moved = min(amounts[0], sink - amounts[1])
                amounts = [amounts[0] - moved, amounts[1] + moved]
            steps += 1
        return steps

    assert reach.shortest(machine.requirements[0].condition) == min(polarity(a, b), polarity(b, a))


def test_decanting_against_conserved_rim() -> None:
    """Sixteen divisions of 8 into 8, 5, 3 with some jar full or empty are exactly what pouring reaches."""
    rim = {
        jars
        for jars in product(range(9), range(6), range(4))
        if sum(jars) == 8 and any(jar in (0, size) for jar, size in zip(jars, (8, 5, 3), strict=True))
    }
    assert len(rim) == 16
    assert {tuple(state) for state in explore(puzzles.decanting(8, 5, 3)).depth} == rim


def test_hanoi_against_recursions() -> None:
    """Four-peg numbers by the best split, clockwise and adjacent ones by their recurrences."""

    @lru_cache
    def four(discs: int) -> int:
        if discs < 2:
            return discs
        return min(2 * four(top) + (1 << discs - top) - 1 for top in range(1, discs))

    one, two = 1, 2
    for discs in range(1, 6):
        assert _goal(puzzles.hanoi(4, discs)) == four(discs)
        assert _goal(puzzles.hanoi(3, discs, "clockwise", 1)) == one
        assert _goal(puzzles.hanoi(3, discs, "clockwise", 2)) == two
        one, two = 2 * two + 1, one + 2 * two + 2
    assert [four(n) for n in range(1, 11)] == [1, 3, 5, 9, 13, 17, 25, 33, 41, 49]  # OEIS A007664 [read]


def test_trays_against_permutation_parity() -> None:
    """What slides reach are the arrangements whose parity agrees with how far the gap is from home."""

    def is_even(order: tuple[int, ...]) -> bool:
        return sum(one > two for one, two in combinations(order, 2)) % 2 == 0

    for rows, cols in ((2, 2), (2, 3)):
        cells = rows * cols
        expected = set()
        for order in permutations(range(cells)):
            gap = order.index(0)
            # the start is the identity; every slide is one transposition and moves the gap by one
            if is_even(order) == ((gap // cols + gap % cols) % 2 == 0):
                expected.add(order)
        assert len(expected) == factorial(cells) // 2
        assert {tuple(state) for state in explore(puzzles.sliding(rows, cols, (0, 0))).depth} == expected


def _touches(n: int) -> list[int]:
    def cell(row: int, col: int) -> int:
        return 1 << (row * n + col) if 0 <= row < n and 0 <= col < n else 0

    return [
        cell(row, col) | cell(row - 1, col) | cell(row + 1, col) | cell(row, col - 1) | cell(row, col + 1)
        for row, col in product(range(n), repeat=2)
    ]


def _rank(vectors: list[int]) -> int:
    basis: list[int] = []
    for vector in vectors:
        for pivot in basis:
            vector = min(vector, vector ^ pivot)
        if vector:
            basis.append(vector)
    return len(basis)


def test_parities_against_linear_algebra() -> None:
    """Reach is 2 to the rank over the field of two; the farthest state is the worst lightest set of touches."""
    # nullity for n = 1..11: OEIS A159257 [read]; rank 23 for 5 by 5 [recomputed]
    assert [n * n - _rank(_touches(n)) for n in range(1, 12)] == [0, 0, 0, 4, 2, 0, 0, 0, 8, 0, 6]
    for n in (2, 3):
        touches = _touches(n)
        lightest: dict[int, int] = {}
        for chosen in product((0, 1), repeat=n * n):
            odd = 0
            for touch, used in zip(touches, chosen, strict=True):
                odd ^= touch * used
            lightest[odd] = min(sum(chosen), lightest.get(odd, n * n))
        reach = explore(puzzles.parity_grid(n))
        assert reach.states == len(lightest) == 2 ** _rank(touches)
        assert max(reach.depth.values()) == max(lightest.values())


@pytest.mark.parametrize(
    ("pieces", "walls", "numbers"),
    [(sliding.THIRTEEN_PIECES, frozenset(), (4780, 51)), (sliding.TWELVE_PIECES, sliding.WALL, (2332, 60))],
)
def test_sliding_pieces_against_boards_of_letters(
    pieces: tuple[sliding.Piece, ...], walls: frozenset[tuple[int, int]], numbers: tuple[int, int]
) -> None:
    """Boards as texts, pieces moved a cell at a time for as long as one moves on: so many boards, so many slides."""
    side = sliding.SIDE
    start = ["."] * side * side
    for row, column in walls:
        start[row * side + column] = "#"
    for number, piece in enumerate(pieces):
        for row, column in piece.cells(piece.begins):
            start[row * side + column] = chr(ord("a") + number)
    step = {chr(ord("a") + number): 1 if piece.direction == "across" else side for number, piece in enumerate(pieces)}

    def slides(board: str) -> set[str]:
        found = set()
        for letter, by in step.items():
            for way in (by, -by):
                moved = board
                while True:
                    own = [at for at, other in enumerate(moved) if other == letter]
                    end = (max(own) if way > 0 else min(own)) + way
                    same_row = by == side or end // side == own[0] // side
                    if not (0 <= end < side * side and same_row and moved[end] == "."):
                        break
                    gone = min(own) if way > 0 else max(own)
                    letters = list(moved)
                    letters[end], letters[gone] = letter, "."
                    moved = "".join(letters)
                    found.add(moved)
        return found

    seen = {"".join(start)}
    front, depth, solved = set(seen), 0, None
    exit_row = pieces[0].row * side + side - 1
    while front:
        if solved is None and any(board[exit_row] == "a" for board in front):
            solved = depth
        front = {after for board in front for after in slides(board)} - seen
        seen |= front
        depth += 1
    assert (len(seen), solved) == numbers


def test_rings_against_the_reflected_code() -> None:
    """The state at each depth is the reflected binary code of that depth."""
    for n in some(range(1, 9)):
        for state, depth in some(explore(families.rings(n)).depth.items()):
            # distance from all-off along the single path is the number whose reflected code the latches show
            code = sum(1 << i for i, on in enumerate(state) if on)
            number = 0
            while code:
                number ^= code
                code >>= 1
            assert number == depth


def test_exclusion_against_cliques_of_the_complement() -> None:
    """Safe sets of zones are the cliques of the complement graph, counted by networkx, and the empty set."""
    square = nx.convert_node_labels_to_integers(nx.grid_2d_graph(3, 3))
    for machine, conflicts in (
        (families.row_exclusion(7), nx.path_graph(7)),
        (families.ring_exclusion(8), nx.cycle_graph(8)),
        (families.grid_exclusion(2, 5), nx.convert_node_labels_to_integers(nx.grid_2d_graph(2, 5))),
        (families.grid_exclusion(3, 3), square),
    ):
        cliques = sum(1 for _ in nx.enumerate_all_cliques(nx.complement(conflicts)))
        assert explore(machine).states == cliques + 1


def test_at_most_k_against_binomials() -> None:
    """States with at most k of n on are a sum of binomial coefficients; the steps are twice the edges between sizes."""
    for n, k in ((5, 1), (6, 2), (6, 3)):
        reach = explore(families.at_most(k, n))
        assert reach.states == sum(comb(n, i) for i in range(k + 1))
        assert reach.steps == 2 * sum(comb(n, i) * i for i in range(k + 1))


def test_philosophers_against_a_transfer_matrix() -> None:
    """States round a table are closed walks: the trace of a power of the matrix of allowed neighbours."""
    phases = ("thinking", "has left", "eating")
    # the right fork of one who eats is the left fork of the next
    allowed = [[int(not (one == "eating" and two != "thinking")) for two in phases] for one in phases]
    walks = [[int(i == j) for j in range(3)] for i in range(3)]
    companion_pell = [2, 2]
    for n in range(1, 9):
        walks = [[sum(walks[i][k] * allowed[k][j] for k in range(3)) for j in range(3)] for i in range(3)]
        closed = sum(walks[i][i] for i in range(3))
        companion_pell.append(2 * companion_pell[-1] + companion_pell[-2])
        if n >= 2:
            assert explore(families.philosophers(n)).states == closed == companion_pell[n]


def test_protocols_against_programs_as_coroutines() -> None:
    """Peterson's two processes and the broken ones, written as programs and interleaved by schedule.

    Each process yields after one assignment; every schedule up to a length is run from the start, so no state is
    shared with the machine's search.
    """

    def turn_taking(schedule: tuple[int, ...]) -> tuple[object, ...]:
        flag, turn, at = [False, False], 0, ["idle", "idle"]
        for me in schedule:
            other = 1 - me
            if at[me] == "idle":
                flag[me], at[me] = True, "flag"
            elif at[me] == "flag":
                turn, at[me] = other, "turn"
            elif at[me] == "turn":
                if not flag[other] or turn == me:
                    at[me] = "critical"
            else:
                flag[me], at[me] = False, "idle"
        return (*at, *flag, turn)

    seen = {turn_taking(schedule) for length in range(10) for schedule in product((0, 1), repeat=length)}
    assert len(seen) == 20
    assert {tuple(state) for state in explore(families.peterson()).depth} == seen


def test_dining_hall_bound_and_what_is_reached() -> None:
    """Five philosophers of six phases and five forks of three make 1,889,568 combinations; far fewer are reached.

    The bound: 6^5 x 3^5, 'approximately 1.8 million' (Hoare, Communicating Sequential Processes) [memory].
    """
    machine = families.dining_hall(5, 5)
    bound = 1
    for variable in machine.variables:
        bound *= len(variable.domain)
    assert bound == 6**5 * 3**5 == 1_889_568
    # A fork is fixed by its two users, so what is reached are tables on which no two neighbours hold one fork ...
    holds_left, holds_right = {2, 3}, {3, 4}
    tables = {
        table
        for table in product(range(6), repeat=5)
        if not any(table[i] in holds_right and table[(i + 1) % 5] in holds_left for i in range(5))
    }
    # ... but one: were all left with the right fork only, the last to put down its left would have shared that fork.
    tables.remove((4,) * 5)
    reach = explore(machine)
    assert {state[:5] for state in reach.depth} == tables
    assert reach.states == len(tables) < bound
    assert [state[:5] for state in reach.dead] == [(2,) * 5]


def test_a_footman_keeps_the_dining_hall_alive() -> None:
    """With one seat fewer than philosophers nobody is ever stuck (Hoare's footman, [memory])."""
    assert explore(families.dining_hall(5, 4)).dead == ()
