"""A second calculator that needs no LibreOffice: the package ``formulas`` works out the new table from the inputs."""

from __future__ import annotations

import importlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl.utils import get_column_letter

from tests.workbook.cells import areas_of
from tests.workbook.edited import unmerged
from tests.workbook.invented_job import Grid
from tests.workbook.variants import STUCK, issued
from tests.workbook.what_if import Change, run_again

# First, middle and last of either axis: the cells between them are a middle again, which LibreOffice calculates.
SMALL = replace(STUCK, rows=3, cols=3)
FLOW = "target_static_flow"


@pytest.mark.check_value
def test_a_table_and_one_change_of_input(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Source: the package ``formulas``, which knows nothing of this program."""
    formulas: Any = importlib.import_module("formulas")
    result = issued(SMALL).result
    content = unmerged(issued(SMALL).content)  # the package would spend a fifth of its time on merging
    (tmp_path / "issued.xlsx").write_bytes(content)
    places = {name: _place(content, name) for name in ("new_table", FLOW)}
    monkeypatch.chdir(tmp_path)
    model = formulas.ExcelModel().from_ranges(places["new_table"]).finish(circular=False, complete=False)

    def new_table(**changed: float) -> Grid:
        found = model.calculate(inputs={places[name]: value for name, value in changed.items()})
        return np.asarray(found[places["new_table"]].value, dtype=np.float64)

    # Honest agreement: 1e-14 relative; asked for is 1e-9.
    assert np.allclose(new_table(), result.table.new, rtol=1e-9, atol=0.0)
    again = run_again(SMALL, Change("", (), (("target.injectors.static_flow", "640 cc/min"),)), tmp_path)
    assert not np.allclose(again, result.table.new, rtol=1e-3)
    assert np.allclose(new_table(**{FLOW: 640.0}), again, rtol=1e-9, atol=0.0)


def _place(workbook: bytes, name: str) -> str:
    """A named area as the package calls it."""
    sheet, row, col, last_row, last_col = areas_of(workbook)[name]
    first, last = (f"{get_column_letter(at[1] + 1)}{at[0] + 1}" for at in ((row, col), (last_row, last_col)))
    return f"'[issued.xlsx]{sheet.upper()}'!{first if first == last else f'{first}:{last}'}"
