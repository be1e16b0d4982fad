"""Every finding with its remedy and its source, and the files that were read."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from xlsxwriter.utility import xl_rowcol_to_cell

from basemap.model.finding import Finding, Severity
from basemap.model.job import Source
from basemap.report.words import without_marks
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, INK_OF, SIGN, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item

SHEET = "Findings"
JOB_FILE, JOB_FILE_HASH = "job_file_name", "job_file_hash"
"""Names of the cells with the job file that the workbook was issued from, and its SHA-256."""
_WIDTHS = (24.0,) + (63.0,) * 11
_LAST = len(_WIDTHS) - 1
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}
_ORDER = (Severity.STOP, Severity.CAUTION, Severity.NOTE)


def write_findings(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, _WIDTHS, landscape=False)
    page_head(page, "Findings", "with remedies and sources")
    flow = Flow(page, HEAD_ROWS)
    _all_findings(flow)
    _sources(flow)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1, repeat=(0, HEAD_ROWS - 1))


def ranked(findings: tuple[Finding, ...]) -> list[Finding]:
    """The findings, the gravest first, else in the order of the rules."""
    return sorted(findings, key=lambda finding: _ORDER.index(finding.severity))


def _all_findings(flow: Flow) -> None:
    findings = ranked(flow.page.result.findings)
    if not findings:
        return
    flow.heading(f"All findings ({len(findings)})", "gravest first")
    flow.table_head(
        item(0, 0, ""), item(1, 2, "rule"), item(3, 6, "finding"), item(7, 9, "what to do"), item(10, _LAST, "source")
    )
    for finding in findings:
        ink = INK_OF[finding.severity]
        accepted = " (accepted)" if finding.accepted else ""
        flow.line(
            item(0, 0, SIGN[finding.severity], font_color=ink, bold=True, align="center"),
            item(1, 2, f"{finding.rule}\n{finding.severity.value}{accepted}", font_color=ink),
            item(3, 6, without_marks(finding.message)),
            item(7, 9, without_marks(finding.remedy)),
            item(10, _LAST, finding.source, font_color=style.QUIET, font_size=8),
            valign="top",
            font_size=9,
            **_HAIR,
        )
    flow.gap()


def _sources(flow: Flow) -> None:
    book = flow.page.book
    flow.heading("Read from", "SHA-256 of every file, so that it can be told from another")
    for source in book.result.job.sources:
        row = flow.line(
            item(0, 3, source.file), item(4, _LAST, source.sha256, font_name=style.MONOSPACE, font_size=8), **_HAIR
        )
        if source is _job_file(book):
            for name, col in ((JOB_FILE, 0), (JOB_FILE_HASH, 4)):
                at = xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True)
                book.names.define(book.workbook, name, f"{SHEET}!{at}")
    flow.line(
        item(0, _LAST, f"Written by basemap {book.version} on {book.issued.isoformat()}.", font_color=style.QUIET)
    )


def _job_file(book: Book) -> Source | None:
    """The job file: the first of the files that were read, where the job came from a file."""
    job = book.result.job
    first = job.sources[0] if job.sources else None
    return first if first is not None and Path(first.file).stem == job.stem else None
