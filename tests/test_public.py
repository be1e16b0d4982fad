"""What a program may rely on: the public names and how they are called."""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import fields
from typing import Any

import pytest

import basemap
from basemap.model.result import Result

HOW_TO_CHANGE = (
    "somebody's program calls it like that: keep old calls working, or change the pin below, say so as **changed** in "
    "CHANGELOG.md, and put old → new into docs/migration.md"
)
SIGNATURES: dict[Callable[..., Any], str] = {
    basemap.load_job: "(path: 'str | Path', *, stdin: 'BinaryIO | None' = None) -> 'Job'",
    basemap.check: "(job: 'Job', accept: 'Sequence[str]' = (), drawing: 'Drawing | None' = None) -> 'Result'",
    basemap.adapt: "(job: 'Job', accept: 'Sequence[str]' = (), drawing: 'Drawing | None' = None) -> 'Result'",
    Result.frame: "(self, which: 'str' = 'new') -> 'pd.DataFrame'",
}
FIELDS = (
    "job", "table", "settings", "sweep", "cancelled", "verdict", "findings", "not_judged", "accepted", "limits", "band",
    "how_far", "how_far_because", "lean_ends", "in_force", "temperature_sweep", "fuel_demand", "sensors",
    "further_tables", "on_donor_axes", "without_effect",
)  # fmt: skip


@pytest.mark.pin
def test_the_public_names() -> None:
    assert sorted(basemap.__all__) == ["__version__", "adapt", "check", "load_job"], HOW_TO_CHANGE
    assert set(basemap.__all__) <= set(dir(basemap))


@pytest.mark.pin
@pytest.mark.parametrize("function", SIGNATURES, ids=lambda function: str(function.__qualname__))
def test_how_they_are_called(function: Callable[..., Any]) -> None:
    """Names, order, kinds, defaults and types of the parameters."""
    assert str(inspect.signature(function)) == SIGNATURES[function], HOW_TO_CHANGE


@pytest.mark.pin
def test_what_a_result_has() -> None:
    """These at least."""
    assert set(FIELDS) <= {field.name for field in fields(Result)}, HOW_TO_CHANGE
    assert isinstance(Result.stops, property)
