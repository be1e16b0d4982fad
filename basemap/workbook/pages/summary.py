"""The first page: what a stranger must know within a minute, then everything that was found."""

from __future__ import annotations

from collections.abc import Callable
from itertools import zip_longest
from typing import Any

from xlsxwriter.utility import xl_rowcol_to_cell

from basemap.model.job import Assumption
from basemap.model.result import Finding, Setting, Severity, Verdict
from basemap.report.lambda_table import to_load
from basemap.report.outcomes_in_words import breathing_in_words
from basemap.workbook.core import style
from basemap.workbook.core.book import (
    AS_ISSUED,
    FILL_OF,
    HEAD_ROWS,
    INK_OF,
    SIGN,
    VERDICT_SIGN,
    Book,
    finish_page,
    open_page,
    page_head,
)
from basemap.workbook.core.flow import Flow, Item, item, significant
from basemap.workbook.core.glance import Glance, glances
from basemap.workbook.core.layout import Layout
from basemap.workbook.core.plain_words import described, setting_name
from basemap.workbook.formulas.settings_formulas import scalar_formulas, voltage_formulas

_WIDTHS = (24.0,) + (63.0,) * 11
_LAST = len(_WIDTHS) - 1
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}

MEANING = {
    Verdict.SUITS: "The old table with the old settings keeps the mixture within 3 % in every cell the engine reaches.",
    Verdict.ADAPT: "The donor's map can be used once its table is replaced and the settings below are entered, together.",
    Verdict.REFUSE: "A stop is left that adapting does not remove. Do not load the table.",
}
_VERDICT_COLOURS = {
    Verdict.SUITS: (style.GOOD_FILL, style.GOOD),
    Verdict.ADAPT: (style.CAUTION_FILL, style.CAUTION),
    Verdict.REFUSE: (style.STOP_FILL, style.STOP),
}
NO_LONGER = "▲  Issued verdict no longer applies: run again"
_ORDER = (Severity.STOP, Severity.CAUTION, Severity.NOTE)
_PROMINENT = 3


def write_summary(book: Book, layout: Layout) -> None:
    """Write the sheet."""
    page = open_page(book, "Summary", _WIDTHS, landscape=False, tab=style.BAR)
    page_head(page, "Fuel table hand-over", f"basemap {book.version} · issued {book.issued.isoformat()}")
    flow = Flow(page, HEAD_ROWS)
    _title(flow)
    _verdict(flow)
    _settings(flow)
    _assumed_and_not_judged(flow)
    _at_a_glance(flow, *glances(book, layout))
    _prominent(flow)
    # A break only counts where the page is scaled by hand rather than fitted.
    page.ws.set_print_scale(84)
    page.ws.set_h_pagebreaks([flow.row])
    _all_findings(flow)
    _sources(flow)
    page.ws.freeze_panes(2, 0)
    finish_page(page, flow.row - 1)


def _title(flow: Flow) -> None:
    job = flow.page.result.job
    flow.line(item(0, _LAST, job.title, bold=True, font_size=13))
    flow.line(item(0, 1, "Donor", font_color=style.QUIET), item(2, _LAST, described(job.donor.hardware)))
    flow.line(item(0, 1, "Target", font_color=style.QUIET), item(2, _LAST, described(job.target.hardware)))
    flow.gap(6)


def _verdict(flow: Flow) -> None:
    result, book = flow.page.result, flow.page.book
    fill, ink = _VERDICT_COLOURS[result.verdict]
    words = f"{VERDICT_SIGN[result.verdict]}  {result.verdict.value.upper()}"
    big = {
        "bg_color": fill,
        "font_color": ink,
        "bold": True,
        "font_size": 22,
        "indent": 1,
        "shrink": True,
        "text_wrap": False,
    }
    row = flow.line(
        item(0, _LAST, words, f'=IF(issued_status="{AS_ISSUED}","{words}","{NO_LONGER}")', **big), height_pt=36
    )
    book.names.define(
        book.workbook, "issued_verdict", f"Summary!{xl_rowcol_to_cell(row, 0, row_abs=True, col_abs=True)}"
    )
    edited = book.workbook.add_format({"bg_color": style.CAUTION_FILL, "font_color": style.CAUTION})
    flow.page.ws.conditional_format(
        row, 0, row, _LAST, {"type": "formula", "criteria": f'=$A${row + 1}<>"{words}"', "format": edited}
    )
    flow.line(item(0, _LAST, f"As issued: {MEANING[result.verdict]}", bg_color=fill, indent=1, font_size=10.5))
    if words := breathing_in_words(result):
        flow.line(
            item(0, _LAST, f"▲ {words}", bg_color=style.CAUTION_FILL, font_color=style.CAUTION, bold=True, indent=1)
        )
    for limit in result.limits:
        flow.line(item(0, _LAST, f"▲ Limit: {limit}", bg_color=fill, font_color=ink, bold=True, indent=1, font_size=11))
    for rule in result.accepted:
        words = f"■ The stop “{rule}” was accepted by the user and stands at their risk."
        flow.line(item(0, _LAST, words, bg_color=style.STOP_FILL, font_color=style.STOP, bold=True, indent=1))
    flow.gap()


def _settings(flow: Flow) -> None:
    settings = flow.page.result.settings
    flow.heading("Settings to enter", "together with the new table, never one without the other")
    if not settings and not to_load(flow.page.result):
        flow.line(item(0, _LAST, "None: the ECU holds none of what has changed; the cells carry everything."))
    scalars = [setting for setting in settings if not setting.points[2]]
    if scalars:
        flow.table_head(
            item(0, 2, "setting"), item(3, 3, "unit"), item(4, 4, "old", align="center"),
            item(5, 6, "enter", align="center"), item(7, _LAST, "basis"),
        )  # fmt: skip
    for setting in scalars:
        _scalar(flow, setting)
    for setting in settings:
        if setting.points[2]:
            _over_voltage(flow, setting)
    for words in to_load(flow.page.result):
        said = f"▲ Lambda table {words}"
        flow.line(item(0, _LAST, said, bg_color=style.CAUTION_FILL, font_color=style.CAUTION, bold=True, indent=1))
    flow.gap()


def _scalar(flow: Flow, setting: Setting) -> None:
    formulas = scalar_formulas(flow.page.result, setting)
    figure = {"align": "center", "bold": True, "font_size": 12, "border": 1, "border_color": style.HAIRLINE}
    if isinstance(setting.enter, float | int):
        shape = significant(float(setting.enter))
        entered = item(5, 6, float(setting.enter), formulas.enter, bg_color=style.GOOD_FILL, num_format=shape, **figure)
    else:
        held = setting.in_force
        shape = f'"cannot be told, keeps "{significant(float(held))}' if isinstance(held, float | int) else "0"
        entered = item(5, 6, float(held) if isinstance(held, float | int) else "cannot be told", formulas.enter,
                       bg_color=style.PANEL, font_size=8, align="center", num_format=shape)  # fmt: skip
    other = flow.page.result.job.other_quantity
    old = item(4, 4, "another box" if other else "not known", align="center")
    if isinstance(setting.old, float | int):
        old = item(4, 4, float(setting.old), formulas.old, align="center", num_format=significant(float(setting.old)))
    flow.line(
        item(0, 2, setting_name(setting.name), bold=True),
        item(3, 3, setting.unit, font_color=style.QUIET),
        old,
        entered,
        item(7, _LAST, setting.basis, font_size=8.5, font_color=style.QUIET),
        **_HAIR,
    )


def _over_voltage(flow: Flow, setting: Setting) -> None:
    """A setting over battery voltage or times open, in blocks of as many points as a line holds."""
    room, name = _LAST - 2, setting_name(setting.name)
    over, over_unit, points = setting.points
    flow.gap(4)
    formulas = voltage_formulas(flow.page.result)
    rows = (
        (f"{name}: {over}, {over_unit}", points, formulas.battery),
        (f"old, {setting.unit}", setting.old, formulas.old),
        (f"enter, {setting.unit}", setting.enter, formulas.enter),
    )
    for start in range(0, len(points), room):
        part = start, min(start + room, len(points))
        for index, (words, figures, formula) in enumerate(rows):
            _voltage_row(flow, words, figures, part, index, formula)
    flow.line(item(0, _LAST, setting.basis, font_size=8.5, font_color=style.QUIET))


def _voltage_row(
    flow: Flow,
    label: str,
    figures: float | tuple[float, ...] | None,
    part: tuple[int, int],
    index: int,
    formula: Callable[[int], str],
) -> None:
    head = index == 0
    look: dict[str, Any] = {"align": "center", "bold": index != 1}
    look |= {"bg_color": style.PANEL, "num_format": "0.##"} if head else {"num_format": "0.000", **_HAIR}
    if index == 2:
        look["bg_color"] = style.GOOD_FILL
    words = item(0, 2, label, bold=head, font_size=9 if head else 10, bg_color=style.PANEL if head else style.PAPER)
    if not isinstance(figures, tuple):
        said = "cannot be told: see the basis" if index == 2 else "not known"
        flow.line(words, item(3, _LAST, said, font_color=style.QUIET))
        return
    shown = enumerate(figures[part[0] : part[1]])
    flow.line(words, *(item(3 + k, 3 + k, value, formula(part[0] + k), **look) for k, value in shown))


def _assumed_and_not_judged(flow: Flow) -> None:
    result = flow.page.result
    guessed = [one for one in result.job.assumed if one.unknown]
    usual = [one for one in result.job.assumed if not one.unknown]
    flow.heading("Assumed and not judged", "what the job did not say; more on the sheet Inputs")
    for one in guessed:
        _assumption(flow, one)
    if usual:
        words = " · ".join(f"{one.key} {one.value}" for one in usual)
        flow.line(
            item(0, 2, f"{len(usual)} usual values", font_color=style.QUIET),
            item(3, _LAST, words, font_size=9),
            **_HAIR,
        )
    if not result.job.assumed:
        flow.line(item(0, _LAST, "Assumed: nothing. Everything that the numbers need was given."), **_HAIR)
    words = " · ".join(f"{one.rule} (lacks {', '.join(one.missing)})" for one in result.not_judged)
    label = f"{len(result.not_judged)} rules not judged" if result.not_judged else "not judged"
    flow.line(
        item(0, 2, label, font_color=style.QUIET),
        item(3, _LAST, words or "none: every rule could be judged", font_size=9),
        **_HAIR,
    )
    flow.gap()


def _assumption(flow: Flow, one: Assumption) -> None:
    value = f"{one.value} ± {one.half_width}" if one.half_width else one.value
    why = f"{one.why}; moves {one.moves} most" if one.moves else one.why
    ink = style.CAUTION if one.unknown else style.INK
    flow.line(
        item(0, 0, "▲" if one.unknown else "•", font_color=ink, align="center"),
        item(1, 4, one.key, font_color=ink),
        item(5, 7, value, bold=one.unknown),
        item(8, _LAST, why, font_size=9, font_color=style.QUIET),
        **_HAIR,
    )


def _at_a_glance(flow: Flow, idle: list[Glance], extremes: list[Glance]) -> None:
    """Idle on the left, extremes on the right."""
    flow.heading("Idle and extremes", "target, new table with the settings to enter")
    for left, right in zip_longest(idle, extremes):
        items = [*(_glance(left, 0) if left else []), *(_glance(right, 6) if right else [])]
        flow.line(*items, **_HAIR)
    flow.gap()


def _glance(row: Glance, col: int) -> list[Item]:
    """Name, figure, unit and place in six columns."""
    name_end = 2 if col == 0 else col + 1
    return [
        item(col, name_end, row.name, font_size=9.5),
        item(
            name_end + 1, name_end + 1, row.value, row.formula, num_format=row.number_format, bold=True, align="right"
        ),
        item(name_end + 2, col + 5, row.place, font_size=8, font_color=style.QUIET),
    ]


def ranked(findings: tuple[Finding, ...]) -> list[Finding]:
    """Gravest first, otherwise in the order of the rules."""
    return sorted(findings, key=lambda finding: _ORDER.index(finding.severity))


def _prominent(flow: Flow) -> None:
    findings = [one for one in ranked(flow.page.result.findings) if one.severity is not Severity.NOTE][:_PROMINENT]
    flow.heading("What matters most", "the gravest findings, and what to do about them")
    if not findings:
        flow.line(item(0, _LAST, "Nothing but notes."))
    for finding in findings:
        ink, fill = INK_OF[finding.severity], FILL_OF[finding.severity]
        flow.line(
            item(0, 0, SIGN[finding.severity], font_color=ink, bold=True, font_size=14, align="center"),
            item(1, _LAST, finding.message, bold=True),
            bg_color=fill,
        )
        flow.line(item(0, 0, ""), item(1, _LAST, f"Do: {finding.remedy}"), bg_color=fill)
        flow.gap(3)
    flow.gap(6)


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
            item(3, 6, finding.message),
            item(7, 9, finding.remedy),
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
        flow.line(
            item(0, 3, source.file), item(4, _LAST, source.sha256, font_name=style.MONOSPACE, font_size=8), **_HAIR
        )
    flow.line(
        item(0, _LAST, f"Written by basemap {book.version} on {book.issued.isoformat()}.", font_color=style.QUIET)
    )
