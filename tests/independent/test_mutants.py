"""Every error put into the program on purpose is found, and the sound program is found sound."""

from __future__ import annotations

import random
import warnings
from collections.abc import Callable, Iterator
from functools import cache, partial
from importlib import import_module
from types import CodeType

import pytest

from tests.independent import calculation, strategies
from tests.independent.mutants import MUTANTS, JobKind, Mutant, mutated
from tests.independent.plain_numbers import Problem

pytestmark = pytest.mark.law
JOBS: dict[JobKind, int] = {"any": 120, "bent line": 40, "breathing": 30}
SEED = 20260401
MODULES = (
    "test_worked_chains",
    "test_laws",
    "test_laws_of_proportion",
    "test_laws_of_limits",
    "test_laws_of_settings",
    "test_bent_line",
    "test_breathing",
)
FIRST: dict[JobKind, str] = {"any": "", "bent line": "test_bent_line", "breathing": "test_breathing"}
"""Where a mutant is looked for first."""
DRAWS: dict[JobKind, Callable[[random.Random], Problem]] = {
    "any": strategies.random_problem,
    "bent line": strategies.bent_line_problem,
    "breathing": strategies.breathing_problem,
}


@pytest.fixture(autouse=True, scope="module")
def _worked_out_once() -> Iterator[None]:
    """What the independent calculation makes of a job is the same for every mutant."""
    with pytest.MonkeyPatch.context() as patch:
        for name in ("answer", "extremes"):
            patch.setattr(calculation, name, cache(getattr(calculation, name)))
        yield


@cache
def drawn(kind: JobKind) -> list[Problem]:
    """Random jobs of a kind, the same for every mutant."""
    generator = random.Random(SEED)
    return [DRAWS[kind](generator) for _ in range(JOBS[kind])]


def comparison_finds(kind: JobKind) -> list[str]:
    """Disagreements of the first random job that has any, in the program as it is imported now."""
    compute = import_module("basemap.adaptation.pipeline").compute
    to_job = import_module("tests.independent.strategies").to_job
    disagreements = import_module("tests.independent.comparison").disagreements
    for given in drawn(kind):
        found: list[str] = disagreements(given, compute(to_job(given)))
        if found:
            return found
    return []


def checks(kind: JobKind) -> Iterator[tuple[str, Callable[[], None]]]:
    """The worked chains and laws, each with every set of its parameters, as they are imported now; quick ones first."""
    found = [
        (name, function)
        for module in sorted(MODULES, key=lambda module: module != FIRST[kind])
        for name, function in vars(import_module(f"tests.independent.{module}")).items()
        if name.startswith("test_")
    ]
    for name, function in sorted(found, key=lambda item: runs_random_jobs(item[1])):
        for number, arguments in enumerate(parameters(function)):
            yield f"{name}[{number}]", partial(function, **arguments)


def runs_random_jobs(function: Callable[..., None]) -> bool:
    """Whether a test works through random jobs, which takes longer."""
    code: CodeType = function.__code__
    return not {"seeded_problems", "seeded_bent_line_problems", "honest_problems", "said_otherwise"}.isdisjoint(
        code.co_names
    )


def parameters(function: Callable[..., None]) -> list[dict[str, object]]:
    """The arguments of every case of a test."""
    marks = [mark for mark in getattr(function, "pytestmark", []) if mark.name == "parametrize"]
    if not marks:
        return [{}]
    names, cases = marks[0].args
    if isinstance(names, str):
        return [{names: case} for case in cases]
    return [dict(zip(names, case, strict=True)) for case in cases]


def first_broken(kind: JobKind) -> str | None:
    """The first worked chain or law that fails."""
    for name, check in checks(kind):
        try:
            check()
        except AssertionError:
            return name
    return None


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_an_error_put_in_on_purpose_is_found(mutant: Mutant) -> None:
    """Found by the comparison, and again without it: by the worked chains or a law."""
    with mutated(mutant), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what an error does to the arithmetic is not what finds it
        compared, broken = comparison_finds(mutant.shown_by), first_broken(mutant.shown_by)
    assert compared, "the independent calculation does not see it"
    assert broken, "no law and no worked chain sees it"


def test_the_sound_program_is_found_sound() -> None:
    with mutated(None):
        compared, broken = [comparison_finds(kind) for kind in JOBS], first_broken("any")
    assert (compared, broken) == ([[]] * len(JOBS), None)


def test_a_mutant_that_no_longer_applies_is_an_error() -> None:
    stale = Mutant("stale", "basemap.adaptation.chain", "this text stands nowhere", "")
    with mutated(stale), pytest.raises(LookupError) as caught:
        import_module("basemap.adaptation.chain")
    assert str(caught.value) == "mutant stale: 'this text stands nowhere' stands 0 times in basemap.adaptation.chain"
