"""A fixture for tests that read the same workbook again and again: what the file holds is read once in a process."""

from __future__ import annotations

from functools import lru_cache

import pytest

from basemap.tables import workbook

_read = lru_cache(maxsize=8)(workbook.guarded)


@pytest.fixture(autouse=True)
def each_file_is_read_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Files of the same bytes are read once, by the program's own reader; one that it refuses it reads each time."""
    monkeypatch.setattr(workbook, "guarded", _read)
