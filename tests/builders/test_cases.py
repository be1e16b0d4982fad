"""A law over many cases fails when any of them does, and says which."""

from __future__ import annotations

import inspect

import pytest

from tests.builders.cases import each


@each("factor", [1, 2])
@each(("number", "double"), [(1, 2), (2, 4), (3, 7), (4, 9)])
def doubled(folder: str, factor: int, number: int, double: int) -> None:
    assert folder == "here"
    if factor == 1:
        assert 2 * factor * number == double


def test_every_case_that_breaks_the_law_is_named() -> None:
    assert list(inspect.signature(doubled).parameters) == ["folder"]
    with pytest.raises(BaseExceptionGroup) as caught:
        doubled(folder="here")
    (inner,) = [caught.value]
    assert [failure.__notes__[0] for failure in inner.exceptions] == [
        "number = 3, double = 7",
        "number = 4, double = 9",
    ]
    assert inner.__notes__ == ["factor = 1"]


def test_one_case_is_raised_as_it_is_and_none_is_refused() -> None:
    @each("number", [1, 2])
    def law(number: int) -> None:
        if number == 2:
            pytest.fail("two")

    with pytest.raises(pytest.fail.Exception) as caught:
        law()
    assert caught.value.__notes__ == ["number = 2"]
    with pytest.raises(AssertionError):
        each("number", [])
