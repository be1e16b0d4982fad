"""A pulse's chain, of tables over load and of cells that command nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.adaptation.pipeline import adapt
from basemap.explain.further import worked_pulse
from basemap.model.result import Result
from tests.builders.round_numbers import CRANK, CRANK_CSV, TARGET_RAIL, job_with


def steps_of(result: Result, index: tuple[int, ...]) -> dict[str, float]:
    """Symbol → value; of the target where both sides have it."""
    return {step.symbol: step.value for step in worked_pulse(result, result.further_tables[0], index)}


@pytest.mark.check_value
def test_a_pulse_over_load(tmp_path: Path) -> None:
    # By hand, as in test_worked_cells.py: 2.8 + 0.9 · (9.0 − 2.4) = 8.74 at any load, and a duty of it at 300 rpm.
    table = CRANK.replace('axis = "coolant temperature"', 'load = "manifold pressure"').replace(
        'axis_unit = "degC"', 'load_unit = "kPa"'
    )
    result = adapt(job_with(tmp_path, table, crank="kPa,300,1500\n50,9.00,9.00\n100,9.00,18.40\n"))
    assert steps_of(result, (0, 0))["cell"] == pytest.approx(8.74, rel=1e-12)
    assert steps_of(result, (0, 0))["duty"] == pytest.approx(100 * 8.74 / 400, rel=1e-12)
    assert steps_of(result, (1, 1))["cell"] == pytest.approx(17.2, rel=1e-12)
    assert steps_of(result, (1, 1))["m_fuel,t"] == pytest.approx(14.4 * 8.0, rel=1e-12)


@pytest.mark.check_value
def test_a_rail_of_its_own_while_it_cranks(tmp_path: Path) -> None:
    """A quarter of the pressure on the target is half its flow: 2.8 + 1.8 · 6.6 = 14.68."""
    result = adapt(job_with(tmp_path, f'{CRANK}[target.tables.crank]\nrail_pressure = "0.75 bar"\n', crank=CRANK_CSV))
    found = steps_of(result, (1,))
    assert found["Δp"] == pytest.approx(0.75, rel=1e-12)
    assert found["ṁ"] == pytest.approx(4.0, rel=1e-12)
    assert found["cell"] == pytest.approx(14.68, rel=1e-12)


@pytest.mark.law
def test_no_pulse_has_no_chain(tmp_path: Path) -> None:
    result = adapt(job_with(tmp_path, CRANK, (TARGET_RAIL, TARGET_RAIL), crank="degC,ms\n20,9.0\n80,0.0\n"))
    assert worked_pulse(result, result.further_tables[0], (1,)) == ()
