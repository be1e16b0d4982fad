"""What is said of the tables beside the main one."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.adaptation.pipeline import adapt
from basemap.model.finding import Finding, Severity
from tests.builders.round_numbers import CRANK, CRANK_CSV, job_with

SAME_FUEL = ("target.fuel]\nstoichiometric = 9.8", "target.fuel]\nstoichiometric = 14.7")


def said(folder: Path, tables: str, *pairs: tuple[str, str], crank: str = CRANK_CSV) -> list[Finding]:
    """The findings on further tables."""
    result = adapt(job_with(folder, tables, *pairs, crank=crank))
    return [finding for finding in result.findings if finding.rule == "further-tables"]


@pytest.mark.law
def test_a_sound_table_on_the_same_fuel_needs_no_word(tmp_path: Path) -> None:
    assert said(tmp_path, CRANK, SAME_FUEL) == []


@pytest.mark.pin
def test_cold_cells_of_all_tables_in_one_word(tmp_path: Path) -> None:
    second = CRANK.replace("tables.crank", "tables.prime")
    (finding,) = said(tmp_path, CRANK + second)
    assert (finding.severity, finding.table) == (Severity.CAUTION, None)
    assert finding.message == (
        "Below 20 degC of coolant these tables cannot be adapted: crank, prime (2 cells). The fuel changes, or may "
        "change, and no arithmetic tells how much of it evaporates in the cold. The numbers are a starting point, "
        'marked "calibrate on the engine".'
    )


@pytest.mark.pin
def test_a_cell_that_cannot_be(tmp_path: Path) -> None:
    (finding,) = said(tmp_path, CRANK, SAME_FUEL, crank="degC,ms\n-20,18.4\n20,2.0\n80,1.0\n")
    assert (finding.severity, finding.table) == (Severity.CAUTION, "crank")
    assert finding.message == (
        "In the table crank no number gives the pulse that is needed at 20 degC (2 cells): the donor's cell is "
        "shorter than its injectors' dead time, or the new cell would be zero or less. The cell is left empty."
    )


@pytest.mark.law
def test_a_cell_of_zero_is_no_finding(tmp_path: Path) -> None:
    assert said(tmp_path, CRANK, SAME_FUEL, crank="degC,ms\n-20,18.4\n20,9.0\n80,0.0\n") == []


@pytest.mark.pin
@pytest.mark.parametrize(
    ("volts", "far"),
    [("7.5 V", ""), ("6.5 V", ", by more than 1 V: how much the injectors deliver there is not known"), ("15 V", "")],
)
def test_a_battery_outside_the_dead_time_data(tmp_path: Path, volts: str, far: str) -> None:
    (finding,) = said(tmp_path, CRANK, SAME_FUEL, ("8.5 V", volts))
    assert finding.message == (f"The table crank is used at {volts}, outside the target's dead-time data{far}.")


@pytest.mark.pin
@pytest.mark.parametrize(
    ("storage", "needed", "end"),
    # On L 14.7 the fuel's share is 1.2 · 0.5 = 0.6: 12.4, 6.76 and 5.2 ms. 2.8 of each deliver nothing.
    [("maximum = 10", "-20 degC: it needs 12.4", "maximum is 10, which delivers 75 % of the fuel (1 cell held)"),
     ("minimum = 6", "80 degC: it needs 5.2", "minimum is 6, which delivers 134 % of the fuel (1 cell held)")],
)  # fmt: skip
def test_a_cell_that_cannot_be_stored(tmp_path: Path, storage: str, needed: str, end: str) -> None:
    (finding,) = said(tmp_path, f"{CRANK}[target.tables.crank]\n{storage}\n", SAME_FUEL)
    assert (finding.severity, finding.table) == (Severity.CAUTION, "crank")
    assert finding.message == f"The target's table crank cannot hold the new cell at {needed} ms, the {end}."


@pytest.mark.law
def test_rounding_alone_is_not_called_held(tmp_path: Path) -> None:
    # 12.4 is stored as 12.40; a maximum that it misses by less than half a step of the table is its own rounding.
    assert said(tmp_path, f"{CRANK}[target.tables.crank]\nmaximum = 12.397\n", SAME_FUEL) == []


@pytest.mark.check_value
@pytest.mark.parametrize(
    # The data of both begins at 8 V, and the dead time is inside the cells of both. More than 1 V below it: common
    # practice, no source. That the target's is extrapolated is the other caution's word.
    ("volts", "expected"),
    [("8 V", []), ("7 V", [Severity.CAUTION]), ("6.9 V", [Severity.STOP, Severity.STOP])],
)
def test_a_cranking_battery_far_below_the_dead_time_data(tmp_path: Path, volts: str, expected: list[Severity]) -> None:
    result = adapt(job_with(tmp_path, CRANK, SAME_FUEL, ("8.5 V", volts), crank=CRANK_CSV))
    told = [finding for finding in result.findings if finding.rule == "battery-outside-dead-time-data"]
    assert [finding.severity for finding in told] == expected
    assert all(finding.table == "crank" for finding in told)
