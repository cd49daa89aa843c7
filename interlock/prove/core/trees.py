"""Expressions from their leaves up, where nothing of them is left out and no signal is opened."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from interlock.kernel.expressions import And, Expr, Leaf, Not, Or

Made = TypeVar("Made")


def bottom_up(whole: Expr, leaf: Callable[[Leaf], Made], join: Callable[[Not | And | Or, list[Made]], Made]) -> Made:
    """What is made of the whole, without recursion: `leaf` of what has no parts, `join` of what was made of the parts.

    Half as long again as this is what `fold` takes, which can leave parts out and look behind signals.
    """
    order: list[Expr] = []
    waiting = [whole]
    while waiting:
        node = waiting.pop()
        order.append(node)
        if type(node) is And or type(node) is Or:
            waiting += node.args
        elif type(node) is Not:
            waiting.append(node.arg)
    made: list[Made] = []
    for node in reversed(order):
        if type(node) is And or type(node) is Or:
            first = len(made) - len(node.args)
            made[first:] = [join(node, made[first:])]
        elif type(node) is Not:
            made[-1] = join(node, made[-1:])
        else:
            made.append(leaf(node))
    return made[0]
