"""Components of graphs and their order, against networkx."""

from __future__ import annotations

import random

import networkx
import pytest

from interlock.prove.recovery.ordering import Condensation


def _graph(seed: int) -> dict[int, list[int]]:
    draw = random.Random(seed)
    size = draw.randint(0, 14)
    edges = draw.choice((0.05, 0.1, 0.2))
    return {one: [other for other in range(size) if draw.random() < edges] for one in range(size)}


@pytest.mark.parametrize("hundred", range(5))
def test_components_and_their_order_are_those_of_networkx(hundred: int) -> None:
    """Of random graphs the components, their levels and the order by a key are what networkx says."""
    for seed in range(100 * hundred, 100 * hundred + 100):
        graph = _graph(seed)
        ours = Condensation(graph)
        whole: networkx.DiGraph[int] = networkx.DiGraph()
        whole.add_nodes_from(graph)
        whole.add_edges_from((one, other) for one, others in graph.items() for other in others)
        theirs = networkx.condensation(whole)
        members = {at: sorted(theirs.nodes[at]["members"]) for at in theirs.nodes}
        assert sorted(map(sorted, ours.members)) == sorted(members.values())
        levels: dict[int, int] = {}
        for at in networkx.topological_sort(theirs):
            levels[at] = 1 + max((levels[before] for before in theirs.predecessors(at)), default=-1)
        level_of = dict(zip(map(tuple, map(sorted, ours.members)), ours.levels(), strict=True))
        assert level_of == {tuple(members[at]): level for at, level in levels.items()}
        own = [sorted(group) for group in ours.members]
        by_size = [own[at] for at in ours.in_order([(-len(group), group) for group in own].__getitem__)]
        keys = {at: (-len(group), group) for at, group in members.items()}
        order = networkx.lexicographical_topological_sort(theirs, key=keys.__getitem__)
        assert by_size == [members[at] for at in order]


def test_a_long_chain_and_a_long_circle() -> None:
    """Ten thousand nodes in a row, or in a circle, are no deeper a recursion than ten."""
    chain = {at: [at + 1] if at < 9_999 else [] for at in range(10_000)}
    assert Condensation(chain).levels() == list(range(10_000))
    assert len(Condensation({**chain, 9_999: [0]}).members) == 1
