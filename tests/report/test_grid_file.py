"""The grid file is the donor's own, with the new numbers in the old places."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adapt import adapt
from basemap.job.load import load_job
from basemap.report.grid_file import grid_bytes, grid_name
from basemap.tables.grid import Layout
from basemap.tables.read import read_grid

JOBS = Path(__file__).resolve().parents[1] / "jobs" / "valid"
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"


@pytest.mark.law
@pytest.mark.parametrize(
    "path", [*sorted(JOBS.glob("*.toml")), *sorted(SAMPLES.glob("*.toml"))], ids=lambda path: path.stem
)
def test_every_new_number_stands_where_its_own_speed_and_load_stand(path: Path, tmp_path: Path) -> None:
    """Read back as a donor: axes as before, and each cell is the stored one at its speed and its load."""
    result = adapt(load_job(path))
    written = tmp_path / grid_name(result)
    written.write_bytes(grid_bytes(result))
    # Three decimals throughout leave the mark open, as they should: the reader is told what the donor's file settled.
    layout = result.job.layout
    assert isinstance(layout, Layout)
    back = read_grid(written, rows=layout.rows, decimal=layout.decimal_mark)
    order = np.argsort(result.job.shown.load)
    assert back.rpm == pytest.approx(result.job.rpm, rel=1e-9)
    assert back.load == pytest.approx(result.job.shown.load[order], rel=1e-9)
    assert np.isfinite(result.table.stored).all()
    assert back.values == pytest.approx(result.table.stored[order], abs=1e-9)
