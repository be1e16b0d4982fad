"""The grid file is the donor's own, with the new numbers in the old places."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.jobfile.load import load_job
from basemap.report.grid_file import grid_bytes, grid_name
from basemap.tables.grid import GridLayout
from basemap.tables.read import read_grid
from tests.builders.results import adapted

JOBS = Path(__file__).resolve().parents[1] / "jobs" / "valid"
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"


@pytest.mark.law
@pytest.mark.parametrize(
    "path", [*sorted(JOBS.glob("*.toml")), *sorted(SAMPLES.glob("*.toml"))], ids=lambda path: path.stem
)
def test_every_new_number_stands_where_its_own_speed_and_load_stand(path: Path, tmp_path: Path) -> None:
    """Read back as a donor: axes as before, and each cell is the stored one at its speed and its load."""
    result = adapted(path)
    written = tmp_path / grid_name(result)
    written.write_bytes(grid_bytes(result))
    # Three decimals throughout leave the mark open, as they should: the reader is told what the donor's file settled.
    layout = result.job.layout
    assert isinstance(layout, GridLayout)
    back = read_grid(written, rows=layout.rows, decimal=layout.decimal_mark)
    order = np.argsort(result.job.target.shown.load)
    assert back.rpm == pytest.approx(result.job.rpm, rel=1e-9)
    assert back.load == pytest.approx(result.job.target.shown.load[order], rel=1e-9)
    assert np.isfinite(result.table.stored).all()
    assert back.values == pytest.approx(result.table.stored[order], abs=1e-9)


@pytest.mark.law
def test_a_grid_of_another_quantity_says_its_own_unit(tmp_path: Path) -> None:
    """What stood above the donor's table named another unit."""
    text = (SAMPLES / "ferry_van.toml").read_text(encoding="utf-8")
    there = '[target.tables.fuel]\nquantity = "pulse width"\necu_applies = ["dead time"]\n'
    assert "[target.tables.fuel]" not in text
    for path in SAMPLES.glob("ferry_van*.csv"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / "job.toml").write_text(f"{text}\n{there}", encoding="utf-8")
    result = adapt(load_job(tmp_path / "job.toml"))
    written = tmp_path / grid_name(result)
    written.write_bytes(grid_bytes(result))
    assert written.read_text(encoding="utf-8").splitlines()[0] == "New table: pulse width in ms"
    back = read_grid(written)
    assert back.unit == "ms"
    assert back.values == pytest.approx(result.table.stored, abs=1e-12)


@pytest.mark.check_value
def test_steps_are_written_as_steps() -> None:
    result = adapted(SAMPLES / "orchard_new_box.toml")
    lines = grid_bytes(result).decode().splitlines()
    assert lines[0] == "New table: volumetric efficiency in %"
    cells = [float(cell.replace(",", ".")) for line in lines[2:] for cell in line.split(";")[1:]]
    assert all((2.0 * cell).is_integer() for cell in cells)
