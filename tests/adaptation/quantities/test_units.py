"""The units that a job may use, against pint's own and against the factors that NIST prints."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from basemap.adaptation.quantities.kinds import FORMS
from basemap.adaptation.quantities.units import UNITS, ZERO_K, kelvin, size_in, unit_of
from tests.builders.cases import each

if TYPE_CHECKING:
    import pint

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
    "Nm": "newton * meter",
    "lbft": "force_pound * foot",
    "degC": "delta_degC",
    "degF": "delta_degF",
}
POUND, INCH, GRAVITY = Fraction("0.45359237"), Fraction("0.0254"), Fraction("9.80665")


@pytest.fixture(scope="module")
def theirs() -> pint.UnitRegistry[float]:
    import pint  # half a second, which only the process that runs these tests spends

    return pint.UnitRegistry()


def base_unit(name: str) -> str:
    """The unit of size 1 that has the same dimension."""
    bases = [si for form in FORMS.values() for si in (*form.si, "W")]
    return next(si for si in bases if size_in(name, si) is not None)


@pytest.mark.check_value
def test_every_unit_is_what_pint_says(theirs: pint.UnitRegistry[float]) -> None:
    # pint's default registry, 0.25: the same definitions, so the agreement is that of floating point.
    def expected(name: str) -> float:
        base = base_unit(name)
        return float(theirs.Quantity(7.0, PINT_NAMES.get(name, name)).to(PINT_NAMES.get(base, base)).magnitude)

    found = {name: 7.0 * unit.size for name, unit in UNITS.items()}
    assert found == pytest.approx({name: expected(name) for name in UNITS}, rel=1e-15)


@pytest.mark.check_value
@each("name", ["cc/min", "l/h", "lb/h", "g/s", "g/cc", "kg/m3", "lb/hr", "ml/min", "oz/min", "kg/l"])
def test_one_unit_over_another_is_what_pint_says(name: str, theirs: pint.UnitRegistry[float]) -> None:
    # As above.
    written, base = ("/".join(PINT_NAMES.get(part, part) for part in one.split("/")) for one in (name, base_unit(name)))
    assert unit_of(name).size == pytest.approx(theirs.Quantity(1.0, written).to(base).magnitude, rel=1e-15)


@pytest.mark.check_value
@each("name", ZERO_K)
@each("shown", [-40.0, 0.0, 20.0, 104.0])
def test_temperatures_are_what_pint_says(name: str, shown: float, theirs: pint.UnitRegistry[float]) -> None:
    # As above.
    assert kelvin(shown, name) == pytest.approx(theirs.Quantity(shown, name).to("K").magnitude, rel=1e-15)


@pytest.mark.check_value
@each(
    ("name", "size"),
    [
        # NIST SP 811 (2008), appendix B.8, from memory. It prints 7 digits: the tolerance is half of the last one.
        ("ft", 3.048e-1),
        ("inch", 2.54e-2),
        ("lb", 4.5359237e-1),
        ("oz", 2.834952e-2),
        ("in2", 6.4516e-4),
        ("cuin", 1.638706e-5),
        ("l", 1e-3),
        ("bar", 1e5),
        ("psi", 6.894757e3),
        ("inHg", 3.386389e3),
        ("mmHg", 1.333224e2),
        ("hp", 7.456999e2),
        ("PS", 7.354988e2),
        ("lb/h", 1.259979e-4),
    ],
)
def test_sizes_are_the_factors_that_nist_prints(name: str, size: float) -> None:
    assert unit_of(name).size == pytest.approx(size, rel=5e-7)


@pytest.mark.check_value
@each(
    ("name", "exact"),
    [
        ("psi", POUND * GRAVITY / INCH**2),
        ("inHg", Fraction("25.4") * Fraction("13.5951") * GRAVITY),
        ("hp", 550 * Fraction("0.3048") * POUND * GRAVITY),
        ("PS", 75 * GRAVITY),
        ("cuin", INCH**3),
        ("lb/h", POUND / 3600),
        ("g/cc", Fraction(1000)),
        ("cc/min", Fraction(1, 60_000_000)),
    ],
)
def test_what_follows_from_exact_definitions_is_exact_but_for_rounding(name: str, exact: Fraction) -> None:
    # Exact fractions of the definitions of 1959 and of standard gravity: agreement within the last bit or two.
    assert abs(Fraction(unit_of(name).size) / exact - 1) < Fraction(1, 2**51)
