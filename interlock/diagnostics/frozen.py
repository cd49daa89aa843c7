"""What is frozen: made once, compared by what it holds, never changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import MISSING, Field, FrozenInstanceError, dataclass, field, fields
from typing import Any, TypeVar, dataclass_transform

T = TypeVar("T")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(declared: type[T]) -> type[T]:
    """As `dataclass(frozen=True, slots=True)`, but what makes, compares and shows one is compiled when it is called.

    A command loads hundreds of such classes, for each of which the library would compile six methods, and makes few of
    most.  Fields may have defaults, and `compare` or `repr` false; `__init__` takes each of them, by place or name.
    """
    own = vars(declared).keys()
    made = sealed(declared)
    for name, text in _TEXTS.items():
        if name not in own:
            setattr(made, name, _compiled_late(made, name, text))
    return made


@dataclass_transform(frozen_default=True, kw_only_default=True, field_specifiers=(field,))
def sealed(declared: type[T]) -> type[T]:
    """The same with what makes, compares and shows one of its own: it cannot be changed any more, but copied."""
    made: Any = dataclass(slots=True, init=False, repr=False, eq=False)(declared)
    made.__setattr__, made.__delattr__ = _set, _delete
    made.__getstate__, made.__setstate__ = _state, _set_state
    kept: type[T] = made
    return kept


def _compiled_late(made: Any, name: str, text: Callable[[Any], tuple[str, str]]) -> Callable[..., Any]:
    """The method of the class that takes its own place, compiled, when it is first called."""

    def late(self: object, *args: object, **named: object) -> object:
        head, body = text(made)
        known: dict[str, Any] = {"MISSING": MISSING, "of": {one.name: one for one in fields(made)}}
        known |= {f"set_{one.name}": getattr(made, one.name).__set__ for one in fields(made)}
        exec(f"def {name}(self{head}):\n {body}", known)  # noqa: S102 -- of the names of fields alone
        setattr(made, name, known[name])
        return known[name](self, *args, **named)

    return late


def _making(made: Any) -> tuple[str, str]:
    sets = [f"set_{one.name}(self, {_taken(one)})" for one in fields(made)]
    after = ["self.__post_init__()"] if hasattr(made, "__post_init__") else []
    return "".join(f", {one.name}{_default(one)}" for one in fields(made)), "\n ".join([*sets, *after]) or "pass"


def _default(one: Field[Any]) -> str:
    if one.default is not MISSING:
        return f"=of['{one.name}'].default"
    return "" if one.default_factory is MISSING else "=MISSING"


def _taken(one: Field[Any]) -> str:
    if one.default_factory is MISSING:
        return one.name
    return f"of['{one.name}'].default_factory() if {one.name} is MISSING else {one.name}"


def _all(made: Any, of: str) -> str:
    return "(" + "".join(f"{of}.{one.name}, " for one in fields(made) if one.compare) + ")"


def _comparing(made: Any) -> tuple[str, str]:
    same = f"{_all(made, 'self')} == {_all(made, 'other')}"
    return ", other", f"return {same} if other.__class__ is self.__class__ else NotImplemented"


def _hashing(made: Any) -> tuple[str, str]:
    return "", f"return hash({_all(made, 'self')})"


def _showing(made: Any) -> tuple[str, str]:
    told = ", ".join(f"{one.name}={{self.{one.name}!r}}" for one in fields(made) if one.repr)
    return "", f"return f'{{self.__class__.__qualname__}}({told})'"


_TEXTS = {"__init__": _making, "__eq__": _comparing, "__hash__": _hashing, "__repr__": _showing}
"""What compiles each method: its parameters behind `self`, and its body."""


def _set(_: object, name: str, held: object) -> None:
    raise FrozenInstanceError(f"cannot assign to field {name!r}")


def _delete(_: object, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r}")


def _state(self: Any) -> list[Any]:
    return [getattr(self, one.name) for one in fields(self)]


def _set_state(self: Any, state: list[Any]) -> None:
    for one, held in zip(fields(self), state, strict=True):
        object.__setattr__(self, one.name, held)
