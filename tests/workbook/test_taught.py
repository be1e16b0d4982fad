"""The workbook of a learnt job: the factor of every cell on a sheet of its own, out of which the live cells follow."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import basemap
from basemap.model.result import Result
from basemap.workbook import write_workbook
from tests.docs.markdown import ROOT
from tests.report.page.learnt_van import first_drive
from tests.workbook.cells import cells_of, unlike
from tests.workbook.edited import opened
from tests.workbook.office import Office, needs_libreoffice


@cache
def learnt() -> tuple[Result, bytes]:
    job = basemap.load_job(ROOT / "sample_tables" / "ferry_van.toml")
    result = basemap.adapt(replace(job, drives=first_drive().logs))
    stream = io.BytesIO()
    write_workbook(result, stream)
    return result, stream.getvalue()


@pytest.mark.law
def test_the_factors_stand_on_a_sheet_of_their_own_and_in_the_formulas() -> None:
    result, content = learnt()
    assert result.table.taught is not None
    book = opened(content, {"Learnt", "Pulse", "How sure"})
    cells = [row[1:17] for row in book["Learnt"].iter_rows(min_row=6, max_row=21, values_only=True)]
    assert cells == [pytest.approx(row, rel=1e-13) for row in result.table.taught.factor.tolist()]
    assert "Learnt!" in str(book["Pulse"].cell(6 + 19, 2).value)
    said = [str(cell) for row in book["How sure"].iter_rows(values_only=True) for cell in row if cell]
    assert any("only another drive narrows it further" in words for words in said)


@pytest.mark.law
@pytest.mark.libreoffice
@needs_libreoffice
def test_every_formula_gives_the_learnt_cells(office: Office, tmp_path: Path) -> None:
    _, content = learnt()
    path = tmp_path / "issued.xlsx"
    path.write_bytes(content)
    values, _ = office.calculate(path)
    # Honest agreement: 1e-13 relative; asked for is 1e-9.
    assert unlike(cells_of(content), values) == []
