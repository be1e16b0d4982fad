"""The pictures of the documentation: ``python -m tests.docs.make_picture``.

Needs LibreOffice, poppler-utils and Chromium. They show what ``basemap adapt`` makes of the worked example (what it
prints beside the page on a phone, and two pages of the workbook), and what its first drive teaches.
"""

from __future__ import annotations

import html
import os
import shutil
import subprocess
import sys
import tempfile
from base64 import b64encode
from pathlib import Path

from tests.docs.markdown import DOCS, ROOT
from tests.report.page.browser import PHONE, Page, browser

FIRST_LOOK, FIRST_DRIVE = "first_look.png", "first_drive.png"
# Picture → words that stand on the page of the workbook that it shows, and on none before it.
PAGES = {"workbook.png": "Fuel table hand-over", "workbook_tables.png": "Old, new and change"}
JOB = "ferry_van.toml"
DOTS_PER_INCH = 110

_SCREEN_PX = 720
_DENSITY = 1.5
"""Pixels of a picture for one of the screen."""
_BESIDE = """<!DOCTYPE html><meta charset="utf-8"><style>
body {{ margin: 0; padding: 22px; display: flex; gap: 26px; background: #e4e8ea; width: max-content }}
pre {{ margin: 0; padding: 18px 20px; height: {height}px; box-sizing: border-box; overflow: hidden; background: #16222a;
  color: #e8eef0; font: 12.5px/1.48 "DejaVu Sans Mono", monospace; border-radius: 8px }}
img {{ height: {height}px; border-radius: 8px; outline: 5px solid #16222a }}
</style><pre>$ basemap adapt {job}
{text}</pre><img src="data:image/png;base64,{phone}">"""


def run(*command: str, **options: object) -> str:
    """What a program prints; where it fails everything stops."""
    done = subprocess.run(command, check=True, capture_output=True, text=True, **options)  # type: ignore[call-overload]
    return str(done.stdout)


def basemap(folder: Path, *arguments: str) -> str:
    """What a command prints in a folder."""
    surroundings = {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "80", "PYTHONUTF8": "1", "NO_COLOR": "1"}
    return run(sys.executable, "-m", "basemap", *arguments, cwd=folder, env=surroundings)


def adapted(folder: Path) -> str:
    """Adapt the worked example in a folder; what that prints."""
    shutil.copytree(ROOT / "sample_tables", folder, dirs_exist_ok=True)
    return basemap(folder, "adapt", JOB)


def first_drive(folder: Path) -> None:
    """The page of what the first drive teaches, from the drive to the band before and after it."""
    basemap(folder, "demo", "demo", "--first-drive")
    with browser() as tab:
        _size(tab, 900, 1000)
        tab.open(folder / "demo" / f"{Path(JOB).stem}-learnt" / f"{Path(JOB).stem}.learnt.html")
        top, foot = (f"document.querySelector('{part}').getBoundingClientRect().{edge}" for part, edge in
                     (("#drive", "top"), ("#learnt", "bottom")))  # fmt: skip
        _size(tab, 900, int(tab.get(f"Math.ceil({foot} - {top})")) + 16)
        tab.get("document.querySelector('#drive').scrollIntoView()")
        tab.picture(DOCS / "images" / FIRST_DRIVE, whole=False)


def first_look(text: str, page: Path, into: Path) -> None:
    """What is printed beside the top of the page on a phone."""
    with browser() as tab:
        _size(tab, PHONE, _SCREEN_PX)
        tab.open(page)
        phone = into.with_suffix(".phone.png")
        tab.picture(phone, whole=False)
        shown = _BESIDE.format(
            height=_SCREEN_PX, job=JOB, text=html.escape(text), phone=b64encode(phone.read_bytes()).decode("ascii")
        )
        beside = into.with_suffix(".html")
        beside.write_text(shown, encoding="utf-8")
        _size(tab, 1200, _SCREEN_PX + 44)
        tab.open(beside)
        _size(tab, int(tab.get("Math.ceil(document.body.getBoundingClientRect().width)")), _SCREEN_PX + 44)
        tab.picture(into, whole=False)


def _size(tab: Page, width: int, height: int) -> None:
    tab.send("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=_DENSITY, mobile=False)


def page_with(words: str, pdf: Path) -> int:
    """Number of the first page that holds some words."""
    text = run("pdftotext", "-layout", str(pdf), "-")
    return next(number for number, page in enumerate(text.split("\f"), start=1) if words in page)


def pages_of_the_workbook(book: Path) -> None:
    """Print a workbook and keep two of its pages."""
    profile = f"-env:UserInstallation={(book.parent / 'profile').as_uri()}"
    run("soffice", profile, "--headless", "--convert-to", "pdf", "--outdir", str(book.parent), str(book))
    pdf = book.with_suffix(".pdf")
    for picture, words in PAGES.items():
        page = str(page_with(words, pdf))
        whole = ("-f", page, "-l", page, "-singlefile", str(pdf), str(DOCS / "images" / Path(picture).stem))
        run("pdftoppm", "-png", "-r", str(DOTS_PER_INCH), *whole)


def main() -> None:
    """Make all pictures anew."""
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        text = adapted(folder)
        made = folder / f"{Path(JOB).stem}-adapted" / Path(JOB).stem
        first_look(text, made.with_suffix(".html"), folder / FIRST_LOOK)
        shutil.copyfile(folder / FIRST_LOOK, DOCS / "images" / FIRST_LOOK)
        pages_of_the_workbook(made.with_suffix(".xlsx"))
        first_drive(folder)


if __name__ == "__main__":
    main()
