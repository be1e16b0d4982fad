"""What several tests look at is worked out once."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import wraps
from inspect import signature
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


def once(made: Callable[P, R]) -> Callable[P, R]:
    """Like `functools.cache`, which works out f() and f(0.0) twice where 0.0 is the default: here they are one."""
    parameters = signature(made)
    known: dict[Hashable, R] = {}

    @wraps(made)
    def kept(*args: P.args, **named: P.kwargs) -> R:
        bound = parameters.bind(*args, **named)
        bound.apply_defaults()
        key = tuple(bound.arguments.values())
        if key not in known:
            known[key] = made(*args, **named)
        return known[key]

    return kept
