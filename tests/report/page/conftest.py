"""One browser for all tests of this folder."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.report.page.browser import PHONE, Page, browser


@pytest.fixture(scope="package")
def tab() -> Iterator[Page]:
    with browser() as page:
        yield page


@pytest.fixture
def page(tab: Page) -> Page:
    tab.scripts(on=True)
    tab.media()
    tab.size(PHONE)
    return tab
