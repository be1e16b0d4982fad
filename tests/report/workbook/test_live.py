"""The workbook calculates what the model calculated: by LibreOffice, every formula afresh."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import pytest
from openpyxl import load_workbook

from basemap.model.result import Result
from basemap.report.workbook import write_workbook
from tests.report.workbook.libreoffice import formula_cells, needs_libreoffice, recalculated, unlike, values
from tests.report.workbook.variants import VARIANTS, Variant

SIZE_SEEN = 210_000
"""What a 16 × 16 workbook weighs now, with a little room, bytes. The goal is 200 kB, and it is NOT met."""
"""With the first-start card, a sheet and its words, the workbook of 16 by 16 cells has 206.4 kB."""


@dataclass(frozen=True)
class Issued:
    """A workbook as it leaves, and as LibreOffice calculates it."""

    variant: Variant
    result: Result
    path: Path


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> list[Issued]:
    folder = tmp_path_factory.mktemp("issued")
    made = []
    for number, variant in enumerate(VARIANTS):
        tables = folder / f"tables-{number}"
        tables.mkdir()
        result, path = variant.result(tables), folder / f"book-{number}.xlsx"
        write_workbook(result, path)
        made.append(Issued(variant, result, path))
    return made


@pytest.mark.law
def test_no_formula_leaves_without_its_value(issued: list[Issued]) -> None:
    for book in issued:
        known = values(book.path)
        formulas = formula_cells(book.path)
        assert len(formulas) > 500
        assert [cell for cell in formulas if cell not in known] == [], book.variant.name


@needs_libreoffice
@pytest.mark.libreoffice
@pytest.mark.check_value
def test_libreoffice_calculates_every_cell_as_the_model_did(issued: list[Issued], tmp_path: Path) -> None:
    """Every formula of every variant, recalculated by force: 1e-9 relative, text exactly."""
    again = recalculated([book.path for book in issued], tmp_path)
    for book, path in zip(issued, again, strict=True):
        assert unlike(values(book.path), values(path), formula_cells(book.path)) == [], book.variant.name


@needs_libreoffice
@pytest.mark.libreoffice
@pytest.mark.law
def test_a_sabotaged_cell_is_caught(issued: list[Issued], tmp_path: Path) -> None:
    """A wrong cached value must not survive, or the test above would prove nothing."""
    book = min(issued, key=lambda one: one.variant.rows)
    before = values(book.path)
    cell = next(one for one in formula_cells(book.path) if isinstance(before[one], float) and before[one] != 0)
    (again,) = recalculated([book.path], tmp_path)
    wrong = {**before, cell: 99.0}
    assert len(unlike(wrong, values(again), formula_cells(book.path))) == 1


@pytest.mark.law
def test_text_from_users_never_becomes_a_formula(issued: list[Issued]) -> None:
    from dataclasses import replace

    result = issued[0].result
    hostile = '=HYPERLINK("http://x","y")'
    for title in (hostile, "+1+1", "@SUM(1)", "-2", "\x00\x07￾ odd", "x" * 40_000, "&L&P"):
        stream = io.BytesIO()
        write_workbook(replace(result, job=replace(result.job, title=title)), stream)
        book = load_workbook(stream)
        formulas = [
            str(cell.value)
            for sheet in book.worksheets
            for row in sheet.iter_rows()
            for cell in row
            if cell.data_type == "f"
        ]
        assert not [formula for formula in formulas if "HYPERLINK" in formula or formula in ("+1+1", "@SUM(1)")]


@pytest.mark.pin
def test_the_workbook_does_not_grow_unseen(issued: list[Issued]) -> None:
    (book,) = [one for one in issued if (one.variant.rows, one.variant.cols) == (16, 16)]
    assert book.path.stat().st_size <= SIZE_SEEN
