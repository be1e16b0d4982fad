"""What a table over throttle opening looks like when it leaves: workbook, JSON, grid, card, worked cell."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path
from string import ascii_uppercase
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from basemap.adaptation.first_start import idle_point
from basemap.explain.cell import worked_cell
from basemap.model.result import Computed, Result
from basemap.report.grid_file import grid_bytes
from basemap.report.json_file import as_json
from tests.axes.test_workbook import content_of
from tests.builders.over_throttle import (
    DONOR,
    FIXED,
    OF_TARGET,
    OPENINGS,
    RPM,
    adapted,
    computed,
    opening_ms,
    target,
    to,
)
from tests.workbook.cells import areas_of, cells_of, formulas_of, values_of


@cache
def usual(*pairs: tuple[str, str]) -> Result:
    """The job of these pairs, which no test changes."""
    with TemporaryDirectory() as folder:
        return adapted(Path(folder), *pairs)


@cache
def numbers(*pairs: tuple[str, str]) -> Computed:
    """Its numbers alone, without bands and rules."""
    with TemporaryDirectory() as folder:
        return computed(Path(folder), *pairs)


WHY = "as issued, not live: the load axis is throttle opening"


@pytest.mark.parametrize("many", [False, True], ids=["abreast", "a page each"])
def test_the_workbook_shows_the_pressure_of_every_cell_and_is_not_live(many: bool, tmp_path: Path) -> None:
    more = f"[target.tables.fuel]\nrpm_points = {np.linspace(800.0, 6800.0, 24).tolist()}\n" if many else ""
    result = adapted(tmp_path, FIXED, append=more)
    content = content_of(result)
    cells = cells_of(content)
    assert [*formulas_of(cells)] == []
    third = {at: cell.value for at, cell in cells.items() if at[1].strip(ascii_uppercase) == "3" and cell.value}
    assert {(sheet, head) for (sheet, _), head in third.items()} == {(sheet, WHY) for sheet, _ in cells}
    area = areas_of(content)["pressure_table"]
    assert area[0] == ("Manifold pressure" if many else "Pulse")
    values = values_of(cells, area)
    np.testing.assert_allclose(values, result.job.target.table.pressure_pa / 1e3, rtol=1e-12)
    # A row has no pressure of its own, but the wide-open one has.
    rows = [cells["Rows", f"B{row}"].value for row in range(7, 19)]
    assert rows[:-1] == ["–"] * 11
    assert rows[-1] == pytest.approx(101.325, rel=1e-12)


def test_json_has_the_pressures() -> None:
    result = usual()
    table = as_json(result)["tables"]["fuel"]
    assert (table["load_unit"], table["load"]) == ("%", OPENINGS.tolist())
    np.testing.assert_allclose(table["manifold_pressure_kpa"], result.job.target.table.pressure_pa / 1e3, rtol=1e-12)


def test_the_grid_keeps_the_donors_shape() -> None:
    lines = grid_bytes(usual()).decode().splitlines()
    assert lines[0] == "%," + ",".join(repr(one) for one in RPM.tolist())
    assert [line.split(",")[0] for line in lines[1:]] == [repr(one) for one in OPENINGS.tolist()]


# The idle of the simulated target: at 900 rpm where its own manifold stands at 35 kPa the pulse is that of the air
# there, η·p·V/(R·T), whatever the opening. The table is read between 800 and 1400 rpm and between 2 and 5 %: 3 %.
@pytest.mark.check_value
def test_the_card_predicts_the_idle_pulse() -> None:
    engine = target(2.393)
    point = idle_point(usual(to(engine)))
    simulated = engine.simulated
    air = simulated.pumped_kg_s(900.0, 35e3) * 120.0 / 900.0 / 4
    per_ms = opening_ms(DONOR)[-1, 0] / (DONOR.tables(OPENINGS / 100.0, RPM)[0][-1, 0])
    assert point.pulse_s * 1e3 - 0.885 == pytest.approx(air * per_ms, rel=0.03)
    # The blade is choked: its area tells the air, and by the simulator's law that rises by 20 % for 1 % of the travel
    # at 5 %. Both sensors read 0.5 % (k = 1) off: 2 · √2 · 0.5 · 20 % = 0.28, more towards 2 %.
    assert 0.28 < point.relative_band < 0.36


def _by_hand(found: Computed, row: int, column: int) -> dict[str, float]:
    return {step.symbol: step.value for step in worked_cell(found, row, column) if step.symbol}


@pytest.mark.parametrize("pairs", [(), (FIXED,)], ids=["manifold", "fixed rail"])
@pytest.mark.parametrize(("row", "column"), [(1, 8), (4, 3), (8, 2), (11, 5)])
def test_the_worked_cell_multiplies_out(pairs: tuple[tuple[str, str], ...], row: int, column: int) -> None:
    """With a pocket calculator: each figure from those above it, as the words beside it say."""
    step = _by_hand(numbers(to(target(2.2, 57.0)), *pairs), row, column)
    assert step["Π_d"] == pytest.approx(step["m_air"] / step["W"], rel=1e-9)
    if row < 11:
        inside = max(step["Π_d"], 0.52828179)
        psi = math.sqrt(7.0 * (inside ** (2 / 1.4) - inside ** (2.4 / 1.4)))
        assert step["Ψ_d"] == pytest.approx(psi, rel=1e-7)
        c = step["D_t / D_d"] * step["A_d / A_t"] * math.sqrt(step["T_d / T_t"]) * step["Ψ_d"] / step["Π_d"]
        assert step["c"] == pytest.approx(c, rel=1e-9)
        y = (1.0 + math.sqrt(1.0 + 2.0 * c * c * 0.4 / 1.4)) / 2.0
        sonic = 0.68473146 / c
        assert step["Π_t"] == pytest.approx(y**-3.5 if y**-3.5 >= 0.52828179 else sonic, rel=1e-7)
    air = step["W"] * step["Π_t"] * step["V_t / V_d"] * step["T_d / T_t"] * step["p0_t / p0_d"]
    assert step["m_air,t"] == pytest.approx(air, rel=1e-9)


def test_the_worked_cell_says_what_is_not_throttled() -> None:
    words = {step.symbol: step.how for step in worked_cell(numbers(), 11, 5)}
    assert words["Π_t"] == "Π_d: not throttled"
    individual = 'displacement = "2393 cc"\ncylinders = 4\nthrottles = { count = 4, bore = "40 mm", feeds = 1 }\n'
    words = {step.symbol: step.how for step in worked_cell(numbers((OF_TARGET, individual)), 11, 5)}
    assert words["Π_t"] == "Π_d: not throttled"
