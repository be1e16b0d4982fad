"""The documented outputs are those that are written."""

from __future__ import annotations

import io
import zipfile
from itertools import chain

import pytest

from basemap.model.result import Result
from basemap.report.json_file import as_json
from basemap.workbook import write_workbook
from tests.builders.results import adapted
from tests.docs.markdown import DOCS, ROOT, read, table_under
from tests.docs.test_keys import words
from tests.workbook.cells import sheet_titles

GUIDE = read(DOCS / "user_guide.md")


@pytest.fixture(scope="module")
def van() -> Result:
    return adapted(ROOT / "sample_tables" / "ferry_van.toml")


def first_column(heading: str) -> list[str]:
    """Keys in the first column of a table of the guide, in order."""
    return list(chain.from_iterable(words(row[0]) for row in table_under(GUIDE, heading)))


def test_sheets_of_the_workbook(van: Result) -> None:
    book = io.BytesIO()
    write_workbook(van, book)
    with zipfile.ZipFile(book) as archive:
        assert first_column("### Sheets of the workbook") == sheet_titles(archive)


def test_keys_of_the_json_file(van: Result) -> None:
    content = as_json(van)
    assert sorted(first_column("### Keys of the JSON file")) == sorted(content)
    assert sorted(first_column("The main table holds")) == sorted(content["tables"]["fuel"])
    two_axes = {"rpm", "load", "load_unit"}
    assert set(first_column("A further table holds")) == set(content["tables"]["crank"]) | two_axes
