"""The random jobs on which program and independent calculation are compared, the same every time."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache

from tests.independent.mutating import JobKind
from tests.independent.plain_numbers import Problem
from tests.independent.strategies import seeded_bent_line_problems, seeded_breathing_problems, seeded_problems

SEED = 20260401
BATCHES, BATCH = 8, 40
_MADE: dict[JobKind, tuple[Callable[[int, int], list[Problem]], int, int]] = {
    "any": (seeded_problems, BATCH, SEED),
    "bent line": (seeded_bent_line_problems, BATCH // 2, SEED + 200),
    "breathing": (seeded_breathing_problems, BATCH // 2, SEED + 300),
}


@cache
def batch_of(kind: JobKind, batch: int) -> list[Problem]:
    """One of `BATCHES` lists of jobs of a kind."""
    draw, count, seed = _MADE[kind]
    return draw(count, seed + batch)


def problems_of(kind: JobKind) -> Iterator[Problem]:
    """All jobs of a kind, one batch after another."""
    for batch in range(BATCHES):
        yield from batch_of(kind, batch)
