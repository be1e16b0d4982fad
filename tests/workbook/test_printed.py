"""What a tuner gets on paper, as LibreOffice prints the whole workbook."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import basemap
from basemap.workbook import write_workbook
from tests.workbook.office import Office, needs_libreoffice

DEMO = Path(__file__).parents[2] / "sample_tables" / "ferry_van.toml"


@pytest.mark.libreoffice
@needs_libreoffice
def test_only_what_is_read_first_is_printed(office: Office, tmp_path: Path) -> None:
    """Eleven pages, where the working alone would take more than twenty."""
    write_workbook(basemap.adapt(basemap.load_job(DEMO)), tmp_path / "van.xlsx")
    printed = office.save(tmp_path / "van.xlsx", tmp_path / "van.pdf")
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) == 11
