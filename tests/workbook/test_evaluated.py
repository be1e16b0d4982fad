"""A second calculator that needs no LibreOffice: the package ``formulas`` works out the new table from the inputs."""

from __future__ import annotations

import importlib
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl import load_workbook

from basemap.workbook import write_workbook
from tests.workbook.invented_job import Grid
from tests.workbook.variants import VARIANTS
from tests.workbook.what_if import Change, run_again

STUCK = VARIANTS[2]
FLOW = "target_static_flow"


@pytest.mark.check_value
def test_a_table_and_one_change_of_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: the package ``formulas``, which knows nothing of this program."""
    formulas: Any = importlib.import_module("formulas")
    result = STUCK.result(tmp_path)
    write_workbook(result, tmp_path / "issued.xlsx")
    places = {name: _place(tmp_path / "issued.xlsx", name) for name in ("new_table", FLOW)}
    monkeypatch.chdir(tmp_path)
    model = formulas.ExcelModel().from_ranges(places["new_table"]).finish(circular=False, complete=False)

    def new_table(**changed: float) -> Grid:
        found = model.calculate(inputs={places[name]: value for name, value in changed.items()})
        return np.asarray(found[places["new_table"]].value, dtype=np.float64)

    # Honest agreement: 1e-14 relative; asked for is 1e-9.
    assert np.allclose(new_table(), result.table.new, rtol=1e-9, atol=0.0)
    again = run_again(STUCK, Change("", (), (("target.injectors.static_flow", "640 cc/min"),)), tmp_path)
    assert not np.allclose(again, result.table.new, rtol=1e-3)
    assert np.allclose(new_table(**{FLOW: 640.0}), again, rtol=1e-9, atol=0.0)


def _place(workbook: Path, name: str) -> str:
    """A named area as the package calls it."""
    ((sheet, address),) = list(load_workbook(workbook).defined_names[name].destinations)
    return f"'[{os.path.basename(workbook)}]{sheet.upper()}'!{address.replace('$', '')}"
