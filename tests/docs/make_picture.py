"""The pictures of the workbook in the documentation: ``python -m tests.docs.make_picture``.

Needs LibreOffice and poppler-utils. The workbook is the one that ``basemap adapt`` writes for the worked example.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from tests.docs.markdown import DOCS, ROOT

# Picture → words that stand on the page of the workbook that it shows, and on none before it.
PICTURES = {"workbook.png": "Fuel table hand-over", "workbook_tables.png": "Old, new and change"}
JOB = ROOT / "sample_tables" / "ferry_van.toml"
DOTS_PER_INCH = 110


def run(*command: str) -> None:
    """Run a program and stop where it fails."""
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)


def page_with(words: str, pdf: Path) -> int:
    """Number of the first page that holds some words."""
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
    return next(number for number, page in enumerate(text.split("\f"), start=1) if words in page)


def main() -> None:
    """Adapt the worked example, print its workbook, and keep two of its pages as pictures."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        run(sys.executable, "-m", "basemap", "adapt", str(JOB), "--out", str(folder), "--quiet")
        profile = f"-env:UserInstallation={(folder / 'profile').as_uri()}"
        book = str(folder / f"{JOB.stem}.xlsx")
        run("soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(folder), book)
        pdf = folder / f"{JOB.stem}.pdf"
        for picture, words in PICTURES.items():
            page = str(page_with(words, pdf))
            whole = ("-f", page, "-l", page, "-singlefile", str(pdf), str(folder / Path(picture).stem))
            run("pdftoppm", "-png", "-r", str(DOTS_PER_INCH), *whole)
            shutil.copyfile(folder / picture, DOCS / "images" / picture)


if __name__ == "__main__":
    main()
