"""One LibreOffice for all tests of a process."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.workbook.office import Office, opened_office


@pytest.fixture(scope="session")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    """LibreOffice, held open."""
    with opened_office(tmp_path_factory.mktemp("office")) as found:
        yield found
