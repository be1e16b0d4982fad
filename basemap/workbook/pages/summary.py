"""The first page: the brief, with live figures where they follow an edit, and room for the tuner's remarks."""

from __future__ import annotations

from collections.abc import Callable
from itertools import zip_longest
from typing import Any, NamedTuple

from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.model.finding import Severity, Verdict
from basemap.model.result import Setting
from basemap.report.brief import COLUMNS, Statement, Topic, brief, heading
from basemap.report.brief.verdict import IGNITION
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
from basemap.workbook.core.cells import merged_text
from basemap.workbook.core.flow import Flow, Item, item, significant
from basemap.workbook.core.layout import Layout
from basemap.workbook.core.plain_words import setting_name
from basemap.workbook.formulas.settings_formulas import scalar_formulas, voltage_formulas
from basemap.workbook.pages.findings import SHEET as FINDINGS
from basemap.workbook.pages.glance import Glance, extremes_of_change, extremes_of_pulses

_WIDTHS = (24.0,) + (80.0,) * 11
_LAST = len(_WIDTHS) - 1
_HAIR: dict[str, Any] = {"bottom": 1, "bottom_color": style.HAIRLINE}

NO_LONGER = "▲  Issued verdict no longer applies: run again"
_REMARK_ROWS = 3


def write_summary(book: Book, layout: Layout) -> None:
    """Write the sheet."""
    page = open_page(book, "Summary", _WIDTHS, landscape=False, tab=style.BAR)
    page_head(page, "Fuel table hand-over", f"basemap {book.version} · issued {book.issued.isoformat()}")
    flow, said = Flow(page, HEAD_ROWS), _ByTopic(brief(page.result))
    _title(flow, said)
    _verdict(flow, said)
    _settings(flow)
    _columns(flow, said, Topic.LOAD, ((0, 3), (4, 6), (7, 8), (9, _LAST)))
    _columns(flow, said, Topic.MIXTURE, ((0, 3), (4, 5), (6, 7), (8, 9), (10, _LAST)))
    _sure(flow, said)
    _at_a_glance(flow, said, extremes_of_pulses(book, layout), extremes_of_change(book, layout))
    _first(flow, said)
    _left_open(flow, said)
    _remarks(flow)
    page.ws.freeze_panes(2, 0)
    finish_page(page, flow.row - 1, one_page=True)


class _ByTopic(NamedTuple):
    """The brief, by topic."""

    statements: tuple[Statement, ...]

    def of(self, *topics: Topic) -> list[Statement]:
        """The statements of some topics, in order."""
        return [one for one in self.statements if one.kind in topics]


def _title(flow: Flow, said: _ByTopic) -> None:
    flow.line(item(0, _LAST, flow.page.result.job.title, bold=True, font_size=13))
    for one in said.of(Topic.ENGINE):
        label, words = one.columns
        flow.line(item(0, 1, label, font_color=style.QUIET), item(2, _LAST, words))
    flow.gap(6)


def _verdict(flow: Flow, said: _ByTopic) -> None:
    """The verdict, which an edit withdraws, how far to go, and the stops against both."""
    book = flow.page.book
    (verdict,) = said.of(Topic.VERDICT)
    word, _, meaning = verdict.text.partition(". ")
    fill, ink = _colours(verdict)
    words = f"{VERDICT_SIGN[flow.page.result.verdict]}  {word}"
    big = {"bg_color": fill, "font_color": ink, "bold": True, "font_size": 22, "indent": 1, "shrink": True}
    row = flow.line(
        item(0, _LAST, words, f'=IF(issued_status="{AS_ISSUED}","{words}","{NO_LONGER}")', **big, text_wrap=False),
        height_pt=36,
    )
    book.names.define(
        book.workbook, "issued_verdict", f"Summary!{xl_rowcol_to_cell(row, 0, row_abs=True, col_abs=True)}"
    )
    edited = book.workbook.add_format({"bg_color": style.CAUTION_FILL, "font_color": style.CAUTION})
    flow.page.ws.conditional_format(
        row, 0, row, _LAST, {"type": "formula", "criteria": f'=$A${row + 1}<>"{words}"', "format": edited}
    )
    flow.line(item(0, _LAST, f"As issued: {meaning}", bg_color=fill, indent=1, font_size=10.5))
    if words := breathing_in_words(flow.page.result):
        _bar(flow, f"▲ {words}", Severity.CAUTION)
    for one in said.of(Topic.STOP, Topic.ACCEPTED, Topic.LIMIT, Topic.HOW_FAR):
        _bar(flow, f"{SIGN[one.severity]} {one.text}" if one.severity else one.text, one.severity)
    for one in said.of(Topic.IGNITION):
        if one.text != IGNITION:  # the head of every page says that already
            _bar(flow, f"▲ {one.text}", one.severity)
    flow.gap()


def _heading(flow: Flow, topic: Topic) -> str:
    return heading(topic, flow.page.result).capitalize()


def _colours(one: Statement) -> tuple[str, str]:
    """Fill and ink of a statement; without a severity those of good news."""
    return (style.GOOD_FILL, style.GOOD) if one.severity is None else (FILL_OF[one.severity], INK_OF[one.severity])


def _bar(flow: Flow, words: str, severity: Severity | None) -> None:
    look = {} if severity is None else {"bg_color": FILL_OF[severity], "font_color": INK_OF[severity]}
    flow.line(item(0, _LAST, words, bold=severity is not None, indent=1, **look))


def _columns(flow: Flow, said: _ByTopic, topic: Topic, spans: tuple[tuple[int, int], ...]) -> None:
    """The statements of a topic in columns, below the names of these."""
    statements = said.of(topic)
    if not statements:
        return
    unit = flow.page.result.job.target.shown.load_unit
    heads = (f"{name} rpm / {unit}" if name == "at" else name for name in COLUMNS[topic])
    flow.heading(_heading(flow, topic), AS_ISSUED)
    flow.table_head(*(item(*span, head) for span, head in zip(spans, heads, strict=True)))
    for one in statements:
        ink: dict[str, Any] = {"font_color": INK_OF[one.severity], "bold": True} if one.severity else {}
        if not any(one.columns[1:]):
            flow.line(item(0, _LAST, one.columns[0], **ink), **_HAIR)
            continue
        flow.line(*(item(*span, words, **ink) for span, words in zip(spans, one.columns, strict=True)), **_HAIR)
    flow.gap(6)


def _sure(flow: Flow, said: _ByTopic) -> None:
    for one in said.of(Topic.HOW_SURE, Topic.MEASURE):
        flow.line(item(0, 3, _heading(flow, one.kind), font_color=style.QUIET), item(4, _LAST, one.text), **_HAIR)
    flow.gap(6)


def _first(flow: Flow, said: _ByTopic) -> None:
    """What to do before the first start, each thing once, and what is true of every first start."""
    flow.heading(_heading(flow, Topic.FIRST), "the sheet First start has the card to tick")
    for index, one in enumerate(said.of(Topic.FIRST), start=1):
        ink = INK_OF[one.severity] if one.severity else style.INK
        flow.line(item(0, 0, f"{index}", bold=True, align="center", font_color=ink), item(1, _LAST, one.text), **_HAIR)
    for one in said.of(Topic.ALWAYS):
        flow.line(item(0, _LAST, one.text, font_color=style.QUIET, font_size=9))
    flow.gap(6)


def _left_open(flow: Flow, said: _ByTopic) -> None:
    """What was assumed and what was not judged, a line each, and on which sheet the findings are."""
    for topic in (Topic.ASSUMED, Topic.NOT_JUDGED):
        statements = said.of(topic)
        grave = any(one.severity for one in statements)
        words = "; ".join(f"▲ {one.text}" if one.severity else one.text for one in statements)
        label = f"{_heading(flow, topic)}: {len(statements)}"
        ink = style.CAUTION if grave else style.QUIET
        flow.line(item(0, 2, label, font_color=ink), item(3, _LAST, words or "nothing", font_size=9), **_HAIR)
    for one in said.of(Topic.MORE):
        words = f"{one.text.partition(':')[0]}: sheet {FINDINGS}"
        flow.line(item(0, _LAST, words, font_size=9, font_color=style.QUIET))
    flow.gap(6)


def _remarks(flow: Flow) -> None:
    """Room for the tuner's remarks, which come back with the workbook."""
    book, ws = flow.page.book, flow.page.ws
    flow.heading("Remarks", 'for the tuner: "basemap compare" prints them')
    first = flow.row
    for _ in range(_REMARK_ROWS):
        ws.set_row(flow.row, 24)
        merged_text(ws, (flow.row, 0, flow.row, _LAST), "", book.remark_style)
        flow.row += 1
    book.names.define(book.workbook, "summary_remarks", f"Summary!{xl_range_abs(first, 0, flow.row - 1, 0)}")


def _settings(flow: Flow) -> None:
    settings = flow.page.result.settings
    if flow.page.result.verdict is Verdict.REFUSE:
        flow.heading("Type in nothing: there is a stop", "what belongs to this table, to be checked")
    else:
        flow.heading("Type in", "together with the new table, never one without the other")
    if not settings and not to_load(flow.page.result):
        flow.line(item(0, _LAST, "None: the ECU has no setting for what has changed; the cells hold everything."))
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
    old = item(4, 4, "other ECU" if other else "not known", align="center", font_size=9, text_wrap=False)
    if isinstance(setting.old, float | int):
        old = item(4, 4, float(setting.old), formulas.old, align="center", num_format=significant(float(setting.old)))
    flow.line(
        item(0, 2, setting_name(setting), bold=True),
        item(3, 3, setting.unit, font_color=style.QUIET),
        old,
        entered,
        item(7, _LAST, setting.basis, font_size=8.5, font_color=style.QUIET, indent=1),
        **_HAIR,
    )


def _over_voltage(flow: Flow, setting: Setting) -> None:
    """A setting over battery voltages or open times, in blocks of as many points as a line holds."""
    room, name = _LAST - 2, setting_name(setting)
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


def _at_a_glance(flow: Flow, said: _ByTopic, pulses: list[Glance], changes: list[Glance]) -> None:
    """What to expect at idle; below it the extremes of pulse and duty on the left, of the change on the right."""
    flow.heading("Idle and extremes", "target, new table with the settings to enter")
    for one in said.of(Topic.IDLE):
        label = f"{_heading(flow, Topic.IDLE)} ({AS_ISSUED})"
        flow.line(item(0, 3, label, font_color=style.QUIET), item(4, _LAST, one.text), **_HAIR)
    for left, right in zip_longest(pulses, changes):
        items = [*(_glance(left, 0) if left else []), *(_glance(right, 6) if right else [])]
        flow.line(*items, **_HAIR)
    flow.gap()


def _glance(row: Glance, col: int) -> list[Item]:
    """Name, figure, and unit with place, in six columns."""
    name_end = 2 if col == 0 else col + 1
    return [
        item(col, name_end, row.name, font_size=9.5),
        item(
            name_end + 1, name_end + 1, row.value, row.formula, num_format=row.number_format, bold=True, align="right"
        ),
        item(name_end + 2, col + 5, row.place, font_size=8, font_color=style.QUIET),
    ]
