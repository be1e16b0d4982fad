"""Frozen data classes that are quick to define: start-up is what a user feels.

The standard library writes and compiles six methods for every frozen data class, which takes most of a millisecond; of
some 180 classes that is a tenth of a whole run. Here it writes `__init__` alone, and the others are one function each
for all classes. What they do is the same; `dataclasses.replace`, `fields` and `asdict` work as ever.
"""

from __future__ import annotations

from dataclasses import FrozenInstanceError, dataclass, field
from typing import TYPE_CHECKING, Any, TypeVar, dataclass_transform

if TYPE_CHECKING:
    from collections.abc import Callable

_Class = TypeVar("_Class")


@dataclass_transform(frozen_default=True, field_specifiers=(field,))
def frozen(cls: type[_Class]) -> type[_Class]:
    """A data class whose instances cannot be changed, as ``dataclass(frozen=True)`` makes it.

    >>> @frozen
    ... class Point:
    ...     x: float
    ...     y: float = 0.0
    >>> Point(1.0), Point(1.0) == Point(1.0, 0.0), len({Point(1.0), Point(1.0)})
    (Point(x=1.0, y=0.0), True, 1)
    """
    own = vars(cls)
    made = dataclass(repr=False, eq=False)(cls)
    methods: dict[str, Callable[..., Any]] = {"__repr__": _repr, "__eq__": _eq, "__hash__": _hash}
    for name, method in methods.items():
        if own.get(name) is None:
            setattr(made, name, method)
    made.__setattr__ = _set  # type: ignore[method-assign]
    made.__delattr__ = _delete  # type: ignore[method-assign]
    return made


def _values(instance: Any) -> tuple[Any, ...]:
    of = instance.__dict__
    return tuple([of[name] for name in instance.__dataclass_fields__])


def _repr(self: Any) -> str:
    shown = ", ".join(f"{name}={self.__dict__[name]!r}" for name in self.__dataclass_fields__)
    return f"{type(self).__qualname__}({shown})"


def _eq(self: Any, other: object) -> bool:
    return _values(self) == _values(other) if type(other) is type(self) else NotImplemented


def _hash(self: Any) -> int:
    return hash(_values(self))


def _set(self: Any, name: str, value: object) -> None:
    # Once each, by `__init__`.
    if name in self.__dict__ or name not in self.__dataclass_fields__:
        raise FrozenInstanceError(f"cannot assign to field {name!r} of {type(self).__qualname__}")
    self.__dict__[name] = value


def _delete(self: Any, name: str) -> None:
    raise FrozenInstanceError(f"cannot delete field {name!r} of {type(self).__qualname__}")
