"""What `explain` writes under a symbol, the workbook holds in a cell of the name that the table of equations gives it."""

from __future__ import annotations

import pytest

from basemap.explain import equations
from basemap.explain.cell import central_cell, worked_cell
from basemap.explain.equations import Equation
from basemap.explain.step import Stage, Step
from basemap.workbook.core.names import is_readable
from basemap.workbook.formulas.derived import sections
from tests.workbook.cells import defined_names
from tests.workbook.variants import VARIANTS, Variant, issued

NAMED = [one for one in vars(equations).values() if isinstance(one, Equation) and one.cell]
SIDES = {
    Stage.DONOR_ECU: "donor",
    Stage.DONOR_HARDWARE: "donor",
    Stage.TARGET_HARDWARE: "target",
    Stage.TARGET_ECU: "target",
}
SMALL = [variant for variant in VARIANTS if variant.rows <= 6]
ON_OTHER_SHEETS = {"stoichiometric", "fuel_density", "charge_temperature_used"}


def equation_of(step: Step) -> Equation | None:
    """The equation with a cell from which a step was made."""
    words = [one for one in NAMED if one.symbol == step.symbol and step.name.startswith(one.words.partition("{")[0])]
    return next((one for one in words if "{" in one.words or one.words == step.name), None)


def compared(variant: Variant) -> dict[str, tuple[float, float]]:
    """Of one job: name of a cell → the number of `explain` and that of the workbook."""
    result = issued(variant).result
    held = {number.name: number.value for section in sections(result) for number in section.numbers}
    found = {}
    for step in worked_cell(result, *central_cell(result)):
        equation = equation_of(step)
        if equation is not None and (cell := f"{SIDES[step.stage]}_{equation.cell}") in held:
            found[cell] = (step.value, held[cell])
    return found


@pytest.mark.law
@pytest.mark.parametrize("variant", SMALL, ids=lambda variant: variant.name)
def test_both_say_the_same_number(variant: Variant) -> None:
    found = compared(variant)
    assert found
    for cell, (explained, held) in found.items():
        assert explained == pytest.approx(held, rel=1e-12), cell


def test_every_named_equation_is_met() -> None:
    met = {cell.partition("_")[2] for variant in SMALL for cell in compared(variant)}
    assert {one.cell for one in NAMED} - ON_OTHER_SHEETS == met
    assert {f"target_{cell}" for cell in ON_OTHER_SHEETS} <= set(defined_names(issued(SMALL[0]).content))


def test_the_names_can_be_read() -> None:
    assert all(is_readable(f"target_{one.cell}") for one in NAMED)
