"""Axes of pressure against the barometer: each side's own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.model.axes import LoadAxis
from basemap.model.marks import Mark
from basemap.report.grid_file import grid_bytes
from tests.builders.pulse_width import DEAD_MS, LOAD, adapted, barometers, computed, job, refused

RATIO = (LOAD, 'load = "pressure ratio"')
RATIO_ROWS = "load,1000,3000\n0.5,2.885,2.885\n1.0,5.885,5.885\n"
GAUGE = (LOAD, 'load = "manifold pressure"\nload_unit = "kPa gauge"')
GAUGE_ROWS = "load,1000,3000\n-40,2.885,2.885\n0,5.885,5.885\n"


def test_a_ratio_is_of_either_sides_own_barometer(tmp_path: Path) -> None:
    made = job(tmp_path, RATIO, rows=RATIO_ROWS, append=barometers("80 kPa", "100 kPa"))
    np.testing.assert_allclose(made.donor.table.load_pa, [40e3, 80e3], rtol=1e-12)
    np.testing.assert_allclose(made.target.table.load_pa, [50e3, 100e3], rtol=1e-12)
    assert made.target.shown.load_unit == "ratio"
    np.testing.assert_array_equal(made.target.shown.load, [0.5, 1.0])


@pytest.mark.check_value
def test_a_hand_worked_cell_on_a_ratio(tmp_path: Path) -> None:
    # By hand: at the same MAP/BARO the engine breathes alike, so its air is as its pressure, 100/80 of the donor's:
    # 2 ms and 5 ms of fuel become 2.5 and 6.25.
    result = adapted(tmp_path, RATIO, rows=RATIO_ROWS, append=barometers("80 kPa", "100 kPa"))
    np.testing.assert_allclose(result.table.new[:, 0], [DEAD_MS + 2.5, DEAD_MS + 6.25], rtol=1e-12)
    # The untouched table: 2.5 ms are needed and 2 delivered.
    np.testing.assert_allclose(result.table.lambda_ratio["old_table_old_settings"], 1.25, rtol=1e-12)
    assert Mark.OUTSIDE not in result.table.marks
    assert not [found for found in result.findings if found.rule == "load-beyond-donor"]


@pytest.mark.law
def test_a_ratio_in_per_cent_is_the_same(tmp_path: Path) -> None:
    append = barometers("80 kPa", "100 kPa")
    one = computed(tmp_path, RATIO, rows=RATIO_ROWS, append=append)
    rows = RATIO_ROWS.replace("\n0.5,", "\n50,").replace("\n1.0,", "\n100,")
    other = computed(tmp_path, (LOAD, 'load = "pressure ratio"\nload_unit = "%"'), rows=rows, append=append)
    np.testing.assert_allclose(one.table.new, other.table.new, rtol=1e-12)


@pytest.mark.law
def test_on_one_barometer_a_ratio_is_a_pressure(tmp_path: Path) -> None:
    append = barometers("80 kPa", "80 kPa")
    bigger = ('[target.engine]\ndisplacement = "2000 cc"', '[target.engine]\ndisplacement = "2400 cc"')
    ratio = adapted(tmp_path, RATIO, bigger, rows=RATIO_ROWS, append=append)
    pressure = adapted(tmp_path, bigger, append=append)
    np.testing.assert_allclose(ratio.table.new, pressure.table.new, rtol=1e-12)
    np.testing.assert_allclose(ratio.band.adapted, pressure.band.adapted, rtol=1e-9)


@pytest.mark.check_value
def test_hand_worked_cells_on_a_gauge_axis(tmp_path: Path) -> None:
    # By hand: the donor's rows stand at 40 and 80 kPa, where it draws 0.05 and 0.0625 ms per kPa. The target's stand at
    # 60 kPa, half-way: 0.05625 · 60 = 3.375 ms, and at 100 kPa, beyond the donor: 0.0625 · 100 = 6.25 ms.
    result = computed(tmp_path, GAUGE, rows=GAUGE_ROWS, append=barometers("80 kPa", "100 kPa"))
    np.testing.assert_allclose(result.table.new[:, 1], [DEAD_MS + 3.375, DEAD_MS + 6.25], rtol=1e-12)
    np.testing.assert_array_equal(result.table.marks[Mark.OUTSIDE], [[False, False], [True, True]])
    # The untouched table is looked up by the same gauge pressures.
    np.testing.assert_allclose(result.table.old, [[2.885, 2.885], [5.885, 5.885]], rtol=1e-12)
    np.testing.assert_allclose(result.table.lambda_ratio["old_table_old_settings"][0], 3.375 / 2.0, rtol=1e-12)
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


@pytest.mark.law
def test_vacuum_is_gauge_the_other_way_round(tmp_path: Path) -> None:
    append = barometers("80 kPa", "100 kPa")
    gauge = adapted(tmp_path, GAUGE, rows=GAUGE_ROWS, append=append)
    rows = "load,1000,3000\n0,5.885,5.885\n40,2.885,2.885\n"
    vacuum = adapted(tmp_path, (LOAD, LOAD.replace('"kPa"', '"kPa vacuum"')), rows=rows, append=append)
    np.testing.assert_allclose(vacuum.table.new, gauge.table.new, rtol=1e-12)
    # The file keeps its own order: no vacuum, the most fuel, first.
    assert grid_bytes(vacuum).decode() == "load,1000,3000\n0,7.135,7.135\n40,4.260,4.260\n"


def test_the_targets_own_load_unit(tmp_path: Path) -> None:
    made = job(tmp_path, append='\n[target.tables.fuel]\nload_unit = "bar absolute"\n')
    np.testing.assert_allclose(made.target.shown.load, [0.4, 0.8], rtol=1e-12)
    np.testing.assert_allclose(made.target.table.load_pa, [40e3, 80e3], rtol=1e-12)
    assert made.cell_for_cell
    assert made.keeps_axes
    told = job(tmp_path, append=barometers("80 kPa", "100 kPa") + '[target.tables.fuel]\nload_unit = "kPa vacuum"\n')
    np.testing.assert_allclose(told.target.shown.load, [60.0, 20.0], rtol=1e-12)
    np.testing.assert_allclose(told.target.table.load_pa, [40e3, 80e3], rtol=1e-12)
    again = job(
        tmp_path, GAUGE, rows=GAUGE_ROWS,
        append=barometers("80 kPa", "100 kPa") + '[target.tables.fuel]\nload_unit = "bar gauge"\n',
    )  # fmt: skip
    np.testing.assert_allclose(again.target.shown.load, [-0.4, 0.0], atol=1e-12)
    np.testing.assert_allclose(again.target.table.load_pa, [60e3, 100e3], rtol=1e-12)
    assert again.donor.table.points.axis is LoadAxis.MANIFOLD_PRESSURE


def test_what_no_pressure_axis_can_be(tmp_path: Path) -> None:
    assert refused(tmp_path, (LOAD, 'load = "pressure ratio"\nload_unit = "kPa"'), rows=RATIO_ROWS) == (
        'job.toml: donor.tables.fuel.load_unit: "kPa" is not a unit of MAP/BARO: write one of "ratio", "%"'
    )
    assert refused(tmp_path, (LOAD, 'load = "pressure ratio"')) == (
        "t.csv: the highest load is 80 ratio, that is 8106 kPa absolute: expected 20 to 600 kPa; is load_unit right?"
    )
    deep = "load,1000,3000\n70,2.885,2.885\n0,5.885,5.885\n"
    vacuum = (LOAD, LOAD.replace('"kPa"', '"kPa vacuum"'))
    assert refused(tmp_path, vacuum, rows=deep, append=barometers("80 kPa", "60 kPa")) == (
        "job.toml: target.tables.fuel.load_points: a load of 70 kPa vacuum, -10 kPa absolute, is not possible: "
        "manifold pressure is above zero; is load_unit right?"
    )
