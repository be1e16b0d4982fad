"""The documented outputs are those that are written."""

from __future__ import annotations

import io
from itertools import chain

import pytest

import basemap
from basemap.model.result import Result
from basemap.report.json_file import as_json
from basemap.workbook import write_workbook
from tests.docs.markdown import DOCS, ROOT, read, table_under
from tests.docs.test_keys import words

GUIDE = read(DOCS / "user_guide.md")


@pytest.fixture(scope="module")
def van() -> Result:
    return basemap.check(basemap.load_job(ROOT / "sample_tables" / "ferry_van.toml"))


def first_column(heading: str) -> list[str]:
    """Keys in the first column of a table of the guide, in order."""
    return list(chain.from_iterable(words(row[0]) for row in table_under(GUIDE, heading)))


def test_sheets_of_the_workbook(van: Result) -> None:
    from openpyxl import load_workbook

    book = io.BytesIO()
    write_workbook(van, book)
    assert first_column("### Sheets of the workbook") == load_workbook(book).sheetnames


def test_keys_of_the_json_file(van: Result) -> None:
    content = as_json(van)
    assert sorted(first_column("### Keys of the JSON file")) == sorted(content)
    assert sorted(first_column("The main table holds")) == sorted(content["tables"]["fuel"])
    two_axes = {"rpm", "load", "load_unit"}
    assert set(first_column("A further table holds")) == set(content["tables"]["crank"]) | two_axes
