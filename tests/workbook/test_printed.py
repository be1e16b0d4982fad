"""What a tuner gets on paper, as LibreOffice prints the whole workbook."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import pytest

import basemap
from basemap.workbook import write_workbook
from tests.workbook.libreoffice import SOFFICE, needs_libreoffice

DEMO = Path(__file__).parents[2] / "sample_tables" / "ferry_van.toml"


@pytest.mark.libreoffice
@needs_libreoffice
def test_only_what_is_read_first_is_printed(tmp_path: Path) -> None:
    """Eleven pages, where the working alone would take more than twenty."""
    assert SOFFICE is not None
    write_workbook(basemap.adapt(basemap.load_job(DEMO)), tmp_path / "van.xlsx")
    profile = (tmp_path / "profile").as_uri()
    command = [SOFFICE, f"-env:UserInstallation={profile}", "--headless", "--convert-to", "pdf", "--outdir"]
    subprocess.run([*command, str(tmp_path), str(tmp_path / "van.xlsx")], check=True, capture_output=True, timeout=300)
    pages = re.findall(rb"/Type\s*/Page\b", (tmp_path / "van.pdf").read_bytes())
    assert len(pages) == 11
