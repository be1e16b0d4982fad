"""Every error put into the program on purpose is found, by tests that pass on the sound program."""

from __future__ import annotations

import warnings
from importlib import import_module

import pytest

from basemap.adaptation.pipeline import compute
from tests.independent.batches import problems_of
from tests.independent.comparison import disagreements
from tests.independent.mutants import MUTANTS
from tests.independent.mutating import JobKind, Mutant, mutated
from tests.independent.plain_numbers import Problem
from tests.independent.strategies import to_job

pytestmark = pytest.mark.law


def first_unlike(kind: JobKind) -> Problem | None:
    """The first random job on which the program and the independent calculation disagree."""
    return next((given for given in problems_of(kind) if disagreements(given, compute(to_job(given)))), None)


def is_broken(law: str) -> bool:
    """Whether a law or worked chain of these tests fails, with any set of its parameters."""
    module, name = law.split(".")
    function = vars(import_module(f"tests.independent.test_{module}"))[name]
    marks = [mark for mark in getattr(function, "pytestmark", []) if mark.name == "parametrize"]
    names, cases = marks[0].args if marks else ((), [()])
    for case in cases:
        arguments = {names: case} if isinstance(names, str) else dict(zip(names, case, strict=True))
        try:
            function(**arguments)
        except AssertionError:
            return True
    return False


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: mutant.name)
def test_an_error_put_in_on_purpose_is_found(mutant: Mutant) -> None:
    """Found by the comparison, and again without it: by a worked chain or a law."""
    with mutated(mutant), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what an error does to the arithmetic is not what finds it
        unlike, broken = first_unlike(mutant.shown_by), is_broken(mutant.breaks)
    assert unlike is not None, "the independent calculation does not see it"
    assert broken, f"{mutant.breaks} does not see it"
    assert disagreements(unlike, compute(to_job(unlike))) == [], "it was not the error that was seen"
    assert not is_broken(mutant.breaks), "it was not the error that was seen"


def test_a_mutant_that_no_longer_applies_is_an_error() -> None:
    stale = Mutant("stale", "basemap.adaptation.chain", "this text stands nowhere", "", "laws.none")
    with pytest.raises(LookupError) as caught, mutated(stale):
        pass
    assert str(caught.value) == "mutant stale: 'this text stands nowhere' stands 0 times in basemap.adaptation.chain"


def test_a_mutant_that_changes_no_function_is_an_error() -> None:
    vain = Mutant("vain", "basemap.adaptation.chain", "_MOST_ROUNDS = 60", "_MOST_ROUNDS = 61", "laws.none")
    with pytest.raises(LookupError) as caught, mutated(vain):
        pass
    assert str(caught.value) == "mutant vain: '_MOST_ROUNDS = 60' stands in no function of basemap.adaptation.chain"
