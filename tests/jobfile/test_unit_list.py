"""The short list of units against the one that pint brings along."""

from __future__ import annotations

import pint
import pytest

from basemap.jobfile.kinds import FORMS
from basemap.jobfile.unit_list import UNIT_NAMES
from basemap.jobfile.units import _registry

# What pint calls otherwise, or not at all. Its rpm is an angle per time; a turn is one for us.
PINT_NAMES = {
    "m2": "m**2",
    "cm2": "cm**2",
    "mm2": "mm**2",
    "in2": "inch**2",
    "m3": "m**3",
    "cm3": "cm**3",
    "in3": "inch**3",
    "cuin": "inch**3",
    "hr": "hour",
    "inHg": "inch_Hg",
    "rpm": "turn / minute",
    "PS": "metric_horsepower",
    "hp": "horsepower",
}


@pytest.fixture(scope="module")
def theirs() -> pint.UnitRegistry[float]:
    return pint.UnitRegistry()


def base_unit(name: str) -> str:
    """A unit of the same dimension that both lists have."""
    if name == "rpm":
        return "rpm"
    dimension = _registry().parse_units(name).dimensionality
    return next(
        si
        for form in FORMS.values()
        for si in (*form.si, "W")
        if _registry().parse_units(si).dimensionality == dimension
    )


@pytest.mark.check_value
@pytest.mark.parametrize("name", UNIT_NAMES)
def test_every_unit_is_what_pint_says(name: str, theirs: pint.UnitRegistry[float]) -> None:
    # pint's default registry, 0.25: the same definitions, so the agreement is that of floating point.
    base = base_unit(name)
    ours = _registry().Quantity(7.0, name).to(base).magnitude
    in_pint = PINT_NAMES.get(base, base)
    expected = theirs.Quantity(7.0, theirs.parse_units(PINT_NAMES.get(name, name))).to(in_pint).magnitude
    assert ours == pytest.approx(expected, rel=1e-12)


def test_no_unit_stands_twice() -> None:
    assert len(set(UNIT_NAMES)) == len(UNIT_NAMES)
