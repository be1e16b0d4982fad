"""Laws of the further tables."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from basemap.adaptation.further_tables import adapt_further_table, adapt_further_tables, fuel_changes
from basemap.adaptation.pipeline import compute
from basemap.model.further_table import FurtherQuantity, FurtherTable
from basemap.model.job import Job
from basemap.model.marks import Mark
from basemap.report.grid_file import further_table_bytes
from tests.builders.round_numbers import CRANK, CRANK_CSV, TARGET_RAIL, first, job_with
from tests.further_tables.test_worked_cells import AFTER, RATE, RATIO, RATIO_CSV

pytestmark = pytest.mark.law

WARM_UP = (
    '[donor.tables.warm_up]\nfile = "w.csv"\nquantity = "percent"\naxis = "coolant temperature"\naxis_unit = "degC"\n'
)
GOAL = '[donor.tables.goal]\nfile = "g.csv"\nquantity = "lambda"\nload = "manifold pressure"\nload_unit = "kPa"\n'
EVERY_KIND = CRANK + AFTER + RATE + WARM_UP + GOAL + RATIO.replace("BASIS", '"fuel in use"')
FILES = {
    "crank": CRANK_CSV,
    "after": "kPa,1000,2000\n25,13.8,12.8\n100,9.8,8.8\n",
    "pump": "rate,ms\n100,0.4\n400,1.2\n900,2.5\n",
    "w": "degC,%\n-20,162.1\n20,121.7\n80,100.3\n",
    "g": "kPa,1000,5000\n30,1.00,1.00\n100,0.88,0.86\n",
    "r": RATIO_CSV,
}
APART = '\n[target.conditions]\nbarometer = "90 kPa"\ncharge_temperature = "25 degC"\n'


def back(job: Job) -> Job:
    """The target as the donor of the old donor, with the new tables."""
    told = replace(job.donor.told, flow=None)
    tables: list[FurtherTable] = []
    for found in adapt_further_tables(job):
        table = found.table
        tables.append(replace(table, values=found.new, donor=table.target, target=table.donor))
    return replace(
        job,
        further_tables=tuple(tables),
        donor=replace(job.donor, hardware=job.target.hardware, told=told),
        target=replace(job.target, hardware=job.donor.hardware, told=told),
    )


@pytest.mark.parametrize("applies", ["[]", '["dead time"]', '["pressure"]', '["pressure", "lambda", "dead time"]'])
@pytest.mark.parametrize("regulator", ["manifold", "fixed"])
def test_there_and_back_again(tmp_path: Path, applies: str, regulator: str) -> None:
    rail = (TARGET_RAIL, TARGET_RAIL.replace("manifold", regulator))
    tables = EVERY_KIND.replace("ecu_applies = []", f"ecu_applies = {applies}")
    job = job_with(tmp_path, tables + APART, rail, **FILES)
    returned = adapt_further_tables(back(job))
    assert len(returned) == 6
    for table, found in zip(job.further_tables, returned, strict=True):
        np.testing.assert_allclose(found.new, table.values, rtol=1e-9, err_msg=table.name)


@pytest.mark.parametrize("name", range(6))
def test_a_target_that_is_the_donor_changes_nothing(tmp_path: Path, name: int) -> None:
    job = job_with(tmp_path, EVERY_KIND, **FILES)
    same = replace(job, target=replace(job.target, hardware=job.donor.hardware))
    found = adapt_further_table(same, same.further_tables[name])
    np.testing.assert_allclose(found.new, found.old, rtol=1e-12)
    assert Mark.CALIBRATE not in found.marks
    file = {"warm_up": "w", "goal": "g", "ratio": "r"}.get(found.name, found.name)
    assert further_table_bytes(found).decode() == FILES[file]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    cells=st.lists(st.floats(3.0, 200.0), min_size=3, max_size=3),
    volts=st.floats(8.0, 14.0),
    flow=st.floats(0.2, 5.0),
    ratio=st.floats(0.5, 2.0),
)
def test_any_cell_returns(tmp_path: Path, cells: list[float], volts: float, flow: float, ratio: float) -> None:
    job = job_with(tmp_path, CRANK, crank=CRANK_CSV)
    rating = job.target.hardware.injectors.static
    injectors = replace(job.target.hardware.injectors, static=replace(rating, value=rating.value * flow))
    fuel = replace(job.target.hardware.fuel, stoichiometric=job.target.hardware.fuel.stoichiometric * ratio)
    side = replace(job.further_tables[0].donor, battery_v=volts)
    table = replace(job.further_tables[0], values=np.array(cells), donor=side, target=side)
    job = replace(
        job,
        further_tables=(table,),
        target=replace(job.target, hardware=replace(job.target.hardware, injectors=injectors, fuel=fuel)),
    )
    np.testing.assert_allclose(adapt_further_tables(back(job))[0].new, cells, rtol=1e-9)


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cells=st.lists(st.floats(-1e6, 1e6, allow_subnormal=False), min_size=3, max_size=3))
def test_percentages_stay_to_the_bit(tmp_path: Path, cells: list[float]) -> None:
    job = job_with(tmp_path, WARM_UP, w=FILES["w"])
    found = adapt_further_table(job, replace(job.further_tables[0], values=np.array(cells)))
    assert found.new.tobytes() == np.array(cells).tobytes()
    assert found.stored.tobytes() == np.array(cells).tobytes()


def test_a_very_large_injector_leaves_the_dead_time_alone(tmp_path: Path) -> None:
    job = job_with(tmp_path, CRANK, crank=CRANK_CSV)
    rating = job.target.hardware.injectors.static
    for size in (1e3, 1e6):
        injectors = replace(job.target.hardware.injectors, static=replace(rating, value=rating.value * size))
        found = adapt_further_table(
            replace(job, target=replace(job.target, hardware=replace(job.target.hardware, injectors=injectors))),
            job.further_tables[0],
        )
        np.testing.assert_allclose(found.new - 2.8, 0.9 * np.array([16.0, 6.6, 4.0]) / size, rtol=1e-6)


def test_the_fuels_share_is_in_proportion_and_the_dead_time_is_added(tmp_path: Path) -> None:
    job = job_with(tmp_path, CRANK, crank=CRANK_CSV)
    engine = replace(job.target.hardware.engine, displacement_m3=2 * job.target.hardware.engine.displacement_m3)
    twice = adapt_further_table(
        replace(job, target=replace(job.target, hardware=replace(job.target.hardware, engine=engine))),
        job.further_tables[0],
    )
    np.testing.assert_allclose(twice.new - 2.8, 2 * (first(job).new - 2.8), rtol=1e-12)


@pytest.mark.parametrize(
    ("ratio", "changes"), [(1.0, False), (0.981, False), (1.019, False), (1.021, True), (0.97, True)]
)
def test_what_counts_as_another_fuel(tmp_path: Path, ratio: float, changes: bool) -> None:
    job = job_with(tmp_path, CRANK, crank=CRANK_CSV)
    fuel = replace(job.target.hardware.fuel, stoichiometric=job.donor.hardware.fuel.stoichiometric * ratio)
    job = replace(job, target=replace(job.target, hardware=replace(job.target.hardware, fuel=fuel)))
    assert fuel_changes(job) is changes
    found = first(job)
    # Rows at −20, 20 and 80 °C: only what is below 20 °C is cold.
    cold = found.marks.get(Mark.CALIBRATE, np.zeros(3, dtype=bool))
    assert cold.tolist() == [changes, False, False]


def test_a_donors_fuel_that_is_left_out_may_be_another_one(tmp_path: Path) -> None:
    job = job_with(tmp_path, WARM_UP, w=FILES["w"])
    assert job.further_tables[0].quantity is FurtherQuantity.PERCENT
    assert fuel_changes(
        replace(
            job, donor=replace(job.donor, fuel_known=False), target=replace(job.target, hardware=job.donor.hardware)
        )
    )


def test_the_main_tables_formula_factor_and_temperature_correction_do_not_enter(tmp_path: Path) -> None:
    plain = first(job_with(tmp_path, CRANK, crank=CRANK_CSV))
    told = "\n[donor.settings]\nformula_factor = 1.3\ncorrects_charge_temperature = true\n"
    other = first(job_with(tmp_path, CRANK + told + APART.replace("90", "100"), crank=CRANK_CSV))
    np.testing.assert_array_equal(other.new, plain.new)


def test_a_dead_time_that_only_a_further_table_leaves_to_the_ecu_is_entered(tmp_path: Path) -> None:
    """The main cells hold theirs; the cranking cells are made for an ECU that adds the target's."""
    inside = ("lambda = 1.0", 'lambda = 1.0\necu_applies = ["pressure", "lambda"]')
    added = CRANK.replace("ecu_applies = []", 'ecu_applies = ["dead time"]')
    for tables, listed in ((CRANK, False), (added, True)):
        result = compute(job_with(tmp_path, tables, inside, crank=CRANK_CSV))
        rows = {row.name: row for row in result.settings}
        assert ("dead_time" in rows) == listed
    assert rows["dead_time"].enter == (3.0, 2.2, 1.2)
