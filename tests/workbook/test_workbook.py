from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from openpyxl.utils import get_column_letter

from basemap.model.finding import Finding, Severity, Verdict
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.report.brief import Topic, brief
from basemap.workbook import write_workbook
from basemap.workbook.core import style
from basemap.workbook.core.layout import Layout
from basemap.workbook.pages.steps import stored_words
from tests.workbook.cells import areas_of, cells_of, defined_names, sheet_titles, values_of
from tests.workbook.edited import opened
from tests.workbook.invented_job import LAMBDA_FILE, make_result
from tests.workbook.variants import VARIANTS, Variant, issued

SHEETS_16 = [
    "Summary", "Tables", "First start", "Inputs", "Outcomes", "How sure", "Worked cell", "Findings", "To load", "Battery and heat", "Pulse",
    "As written", "Fuel", "Derived", "Rows", "Steps", "Issued", "Issued inputs",
]  # fmt: skip
STOP = Finding("load-beyond-donor", Severity.STOP, "No data above 101 kPa.", "Set a load cut.", "no data")


def written(result: Result) -> bytes:
    stream = io.BytesIO()
    write_workbook(result, stream)
    return stream.getvalue()


def titles(content: bytes) -> list[str]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return sheet_titles(archive)


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Result:
    return make_result(tmp_path_factory.mktemp("job"))


@pytest.fixture(scope="module")
def content(result: Result) -> bytes:
    return written(result)


@pytest.fixture(scope="module")
def book(content: bytes) -> Any:
    """The workbook as it is read, for tests that only look at it."""
    return opened(content)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """As many sheets, and a tenth of the cells."""
    return make_result(tmp_path_factory.mktemp("small"), rows=6, cols=5)


WIDE = Variant("wide", rows=4, cols=20)
"""So many speeds that the longest words of its cells decide how wide a page is."""
EVIL = '=HYPERLINK("http://invented.example","x")'


@pytest.fixture(scope="module")
def refused(small: Result) -> bytes:
    """With a stop, words of the user that look like formulas, and two signs."""
    job = replace(small.job, title=EVIL, notes={"=1+1": EVIL, "b": "\ufffe\ud800\x00 & <b>"})
    finding = replace(STOP, severity=Severity.CAUTION, message=EVIL, remedy="=1+1", source="@x")
    marks = {
        Mark.ABOVE_LINE: np.zeros(small.table.new.shape, dtype=bool),
        Mark.SHORT_PULSE: np.zeros(small.table.new.shape, dtype=bool),
    }
    marks[Mark.ABOVE_LINE][3, 4] = marks[Mark.SHORT_PULSE][0, 0] = True
    table = replace(small.table, marks=marks)
    findings = (STOP, finding, *small.findings)
    return written(replace(small, job=job, table=table, verdict=Verdict.REFUSE, findings=findings))


@pytest.fixture(scope="module")
def refused_book(refused: bytes) -> Any:
    return opened(refused)


@pytest.fixture(scope="module")
def limited(small: Result) -> bytes:
    """With a limit, a stop that was accepted and a title that starts with figures."""
    job = replace(small.job, title="1998 cc & more")
    return written(replace(small, job=job, limits=("load up to 101 kPa",), accepted=("load-beyond-donor",)))


def named(book: Any, name: str) -> Any:
    """Cells of a name, as rows."""
    ((sheet, address),) = list(book.defined_names[name].destinations)
    found = book[sheet][address.replace("$", "")]
    return found if isinstance(found, tuple) else ((found,),)


def test_the_sheets_stand_in_order(book: Any) -> None:
    assert book.sheetnames == SHEETS_16


def test_what_is_read_comes_first_and_the_working_is_grey_headed_so_and_not_printed(book: Any) -> None:
    sheets = book.worksheets
    working = [sheet for sheet in sheets if str(sheet["A1"].value).startswith("Working: ")]
    assert [sheet.title for sheet in working] == SHEETS_16[7:]
    assert {sheet.sheet_properties.tabColor.rgb for sheet in working} == {f"FF{style.GREY_LINE[1:]}"}
    for sheet in working:
        first = sheet.print_area.split("!")[1].replace("$", "")
        assert sheet[first].value is None
        assert sheet[first].row > max(cell.row for row in sheet.iter_rows() for cell in row if cell.value is not None)


def test_the_first_page_sends_to_the_findings_as_the_terminal_does(result: Result, book: Any) -> None:
    (more,) = (one.text for one in brief(result) if one.kind is Topic.MORE)
    said = [str(cell.value) for row in book["Summary"].iter_rows() for cell in row if cell.value]
    assert [text for text in said if text.endswith(": sheet Findings")] == [more.replace("--all", "sheet Findings")]


def test_old_new_and_change_are_on_one_screen_of_a_small_laptop(book: Any) -> None:
    """1366 × 768 px, of which row numbers and scroll bar take some 60, and menus, tabs and the system's bar some 270."""
    sheet = book["Tables"]
    width_px = sum((7 * one.width + 5) * (one.max - one.min + 1) for one in sheet.column_dimensions.values())
    assert width_px * sheet.sheet_view.zoomScale / 100 <= 1366 - 60
    (old, new, change) = (named(book, f"{name}_table")[0][0] for name in ("old", "new", "change"))
    assert (old.row, old.column) == (new.row, change.column)
    assert change.row == old.row + 16 + 3
    heights_pt = [sheet.row_dimensions[row].height or 15.0 for row in range(1, change.row + 16)]
    assert sum(heights_pt) / 0.75 * sheet.sheet_view.zoomScale / 100 <= 768 - 270


def test_a_wide_table_has_a_page_for_each_table() -> None:
    sheets = titles(issued(WIDE).content)
    assert {"Old", "New", "Change", "Pulse", "Duty", "Air", "Old table, old settings"} <= set(sheets)
    assert "Tables" not in sheets
    assert [Layout(4, cols).abreast for cols in (16, 17)] == [True, False]


def test_old_new_and_change_are_the_models(result: Result, content: bytes) -> None:
    cells, areas = cells_of(content), areas_of(content)
    for name, wanted in (
        ("old_table", result.table.old),
        ("new_table", result.table.new),
        ("issued_table", result.table.new),
    ):
        found = values_of(cells, areas[name])
        assert np.array_equal(found, wanted) or np.allclose(found, wanted, rtol=1e-15, atol=0.0)
    pulse = values_of(cells, areas["pulse_table"])
    assert np.allclose(pulse, result.table.pulse_s * 1e3, rtol=1e-15, atol=0.0)
    sheet, row, col, _, _ = areas["issued_table"]
    assert cells[sheet, f"{get_column_letter(col + 1)}{row + 1}"].formula is None


def test_inputs_stand_in_the_units_of_the_job(book: Any) -> None:
    cell = named(book, "donor_static_flow")[0][0]
    beside = [cell.offset(column=step).value for step in (1, 2, 3)]
    assert (cell.value, *beside) == (285, "cc/min", "± 8.55", "declared")
    assert named(book, "target_rail_pressure")[0][0].value == 3.6
    assert named(book, "target_fuel")[0][0].value == "E85"


def test_only_inputs_can_be_edited_and_no_password_stands_before_the_rest(book: Any) -> None:
    assert [sheet.title for sheet in book.worksheets if not sheet.protection.sheet or sheet.protection.password] == []
    unlocked = {
        (sheet.title, cell.coordinate)
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if not cell.protection.locked
    }
    inputs = {("Tables", cell.coordinate) for row in named(book, "old_table") for cell in row}
    for name in ("donor_dead_time_volts", "donor_dead_time_given", "target_dead_time_volts", "target_dead_time_given"):
        inputs |= {("Inputs", cell.coordinate) for row in named(book, name) for cell in row}
    here = {cell for cell in unlocked if cell[0] == "Inputs"}
    # What is asked on the sheet How sure is a question, not an input: how far a measurement would bring it.
    sure = {cell for cell in unlocked if cell[0] == "How sure"}
    assert {("How sure", cell.coordinate) for row in named(book, "budget_spreads") for cell in row} < sure
    remarks = {("Summary", row[0].coordinate) for row in named(book, "summary_remarks")}
    assert remarks <= unlocked
    assert {sheet for sheet, _ in unlocked - here - sure - inputs} == {"Summary", "First start"}
    assert inputs <= unlocked
    assert len(here) > 40
    assert {book["Inputs"][address].data_type for _, address in here} <= {"n", "s"}


def test_an_old_table_that_cannot_be_loaded_has_no_outcomes() -> None:
    """Two grids of dashes said nothing: *Outcomes* has the new table's two, and says why."""
    content = issued(next(one for one in VARIANTS if one.name == "from pulse width to volumetric efficiency")).content
    said = [cell.value for (sheet, _), cell in cells_of(content).items() if sheet == "Outcomes"]
    assert "Outcomes: the old table cannot be loaded" in said
    assert "–" not in said
    assert [one for one in said if str(one).endswith("settings")] == [
        "New table, old settings",
        "New table, new settings",
    ]
    assert {name for name in defined_names(content) if name.startswith("ratio_")} == {
        "ratio_new_table_old_settings",
        "ratio_new_table_new_settings",
    }


@pytest.mark.law
def test_no_band_is_shown_narrower_than_it_is(result: Result, book: Any) -> None:
    """Up to the next 0.1 %, in every cell and where an input would be measured."""
    sheet, (rows, cols) = book["How sure"], result.band.adapted.shape
    (head,) = (row for row in range(1, 30) if str(sheet.cell(row, 1).value).startswith("The band in every cell"))
    shown = np.array(
        [[sheet.cell(head + 2 + i, 2 + j).value for j in range(cols)] for i in range(rows)], dtype=np.float64
    )
    assert np.isfinite(shown).all()
    more = shown - result.band.adapted
    assert more.min() > -1e-12
    assert more.max() < 0.001
    tenths = 1000.0 * shown
    assert tenths == pytest.approx(np.round(tenths), abs=1e-6)
    measured = [str(cell.value) for row in sheet.iter_rows() for cell in row if "MIN($" in str(cell.value)]
    assert measured
    assert all(formula.startswith("=ROUNDUP(") and formula.endswith(",1)") for formula in measured)


def test_limits_say_why_they_refuse(book: Any) -> None:
    said = {str(rule.sqref): rule.error for sheet in book.worksheets for rule in sheet.data_validations.dataValidation}
    at = named(book, "target_rail_pressure")[0][0].coordinate
    assert said[at] == (
        "Between 0.3 and 15 bar: port and throttle-body injection run at 0.3 to 15 bar; give it with the regulator's hose off."
    )
    fuel = named(book, "donor_fuel")[0][0].coordinate
    choices = next(rule for rule in book["Inputs"].data_validations.dataValidation if str(rule.sqref) == fuel)
    assert choices.formula1.startswith('"E5,E10,E85,')
    assert choices.formula1.endswith(',as parts,as typed"')


def test_every_page_says_that_ignition_is_not_adapted(book: Any) -> None:
    said = [sheet.title for sheet in book.worksheets if "Ignition is not adapted" in str(sheet["A2"].value)]
    assert said == book.sheetnames


def test_the_new_table_says_where_its_digits_are_in_full(book: Any) -> None:
    """Its cells show three digits: typed in from there, a pulse of 10.04 ms would be 0.4 % lean."""
    assert "in full digits: sheet To load" in {cell.value for row in book["Tables"] for cell in row}
    stored = {cell.number_format for row in book["To load"] for cell in row if str(cell.value).startswith("=")}
    assert "0.0" in stored


def test_a_stop_is_stamped_on_every_page(refused_book: Any) -> None:
    book = refused_book
    assert book.sheetnames == SHEETS_16
    stamp = "■ STOP – do not use: load-beyond-donor"
    assert [sheet.title for sheet in book.worksheets if stamp in str(sheet["A2"].value)] == book.sheetnames
    assert [sheet.title for sheet in book.worksheets if stamp in str(sheet.oddHeader.center.text)] == book.sheetnames
    assert "■  DO NOT USE" in str(book["Summary"]["A8"].value)
    assert "DO NOT LOAD: there is a stop" in {cell.value for row in book["Tables"] for cell in row}
    headings = {row[0].value for row in book["Summary"].iter_rows()}
    assert ("Type in nothing: there is a stop" in headings, "Type in" in headings) == (True, False)


def test_limits_and_accepted_stops_are_on_every_page(limited: bytes) -> None:
    cells, said = cells_of(limited), "■ STOP accepted by the user: load-beyond-donor · ▲ LIMIT: load up to 101 kPa"
    assert [sheet for sheet in titles(limited) if said in str(cells[sheet, "A2"].value)] == SHEETS_16


def test_text_of_the_user_is_never_a_formula(refused: bytes, refused_book: Any) -> None:
    texts = {
        str(cell.value): cell.data_type
        for sheet in refused_book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value is not None
    }
    assert texts[EVIL] == "s"
    assert texts["=1+1"] == "s"
    with zipfile.ZipFile(io.BytesIO(refused)) as archive:
        assert f"8 {EVIL}&amp;C" in archive.read("xl/worksheets/sheet1.xml").decode()
        assert not [
            name
            for name in archive.namelist()
            if "hyperlink" in archive.read(name).decode("utf-8", "replace").lower() and name.endswith(".rels")
        ]


def test_a_title_that_starts_with_figures_does_not_become_a_font_size(limited: bytes) -> None:
    footer = opened(limited, {"Summary"})["Summary"].oddFooter
    assert footer.left.size == 8
    assert footer.left.text.strip() == "1998 cc && more"


def test_signs_stand_beside_the_colour(refused_book: Any) -> None:
    book = refused_book
    new = named(book, "new_table")
    assert new[3][4].number_format == '[>=99.95]0"^";0.0"^"'
    assert new[0][0].number_format == '[>=99.95]0"†";0.0"†"'
    assert new[5][3].number_format == "[>=99.95]0;0.0"
    ratio = named(book, "ratio_old_table_old_settings")[0][0]
    assert ratio.number_format == '[>1.05]0.000"▲";[<0.95]0.000"▼";0.000'


def test_what_can_be_reached_is_outlined(result: Result, book: Any) -> None:
    reach = int(result.table.reachable.any(axis=0).sum())
    row = named(book, "new_table")[2]
    assert [cell.border.right.style for cell in row[reach - 2 : reach + 1]] == ["thin", "medium", "thin"]
    assert row[reach].fill.fgColor.rgb == "FFEDEFF0"


def test_print_set_up(book: Any) -> None:
    for sheet in book.worksheets:
        assert sheet.page_setup.paperSize == int(book.worksheets[0].PAPERSIZE_A4)
        assert sheet.print_area
        assert (
            "&P" in sheet.oddFooter.center.text
            or "Page" in sheet.oddFooter.center.text
            or "page" in sheet.oddFooter.center.text
        )
        assert sheet.freeze_panes
        assert not sheet.sheet_view.showGridLines
    assert book["Derived"].print_title_rows == "$1:$3"


def test_the_default_font_is_arial(content: bytes) -> None:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        fonts = re.findall(r'<name val="([^"]*)"', archive.read("xl/styles.xml").decode())
    assert fonts[0] == "Arial"
    assert set(fonts) <= {"Arial", "Courier New"}


def test_a_workbook_can_be_a_file(small: Result, tmp_path: Path) -> None:
    write_workbook(small, tmp_path / "van.xlsx")
    assert titles((tmp_path / "van.xlsx").read_bytes()) == SHEETS_16
    with pytest.raises(OSError, match="cannot write"):
        write_workbook(small, tmp_path / "nowhere" / "van.xlsx")


def test_size_of_a_16_by_16_workbook() -> None:
    content = issued(Variant("16 by 16", {"donor.tables.fuel.lambda": LAMBDA_FILE}, 16, 16)).content
    # Measured: 205.9 kB, of which 1.1 kB say that nobody read the donor's settings page: four inputs with their shares
    # in the band; some 2 kB are what sensors read wrong, likewise, and the mixture over the charge temperature; 3.1 kB
    # are room for remarks, the brief, and the findings on a sheet of their own.
    # Much more than that is a slow mail and a slow telephone.
    assert len(content) <= 207_000


@pytest.mark.pin
def test_what_stands_below_the_table_to_load(tmp_path: Path) -> None:
    result = make_result(tmp_path, {"target.tables.fuel": {"maximum": 80}}, 6, 5)
    said = stored_words(result)
    assert said[0].startswith("Half way between the cells, as issued and not live: λ actual ÷ λ intended from ")
    assert said[1].startswith("All cells fit when multiplied by 0.")
    assert said[1].endswith(" cc (as issued and not live).")


def total_width(sheet: Any) -> float:
    widths = (dimension.width * (dimension.max - dimension.min + 1) for dimension in sheet.column_dimensions.values())
    return float(sum(widths))


def test_the_table_to_load_is_no_wider_than_the_new_one() -> None:
    """Both are fitted to the width of the page: a wider sheet is printed smaller."""
    book = opened(issued(WIDE).content, {"To load", "New"})
    assert total_width(book["To load"]) <= 1.02 * total_width(book["New"])


def test_the_columns_of_the_inputs_hold_their_longest_words(book: Any, tmp_path: Path) -> None:
    plain = book["Inputs"]
    made = make_result(tmp_path, {"conditions.barometer": "29.92 inHg absolute ± 0.05 inHg"}, 6, 5)
    sheet = opened(written(made), {"Inputs"})["Inputs"]
    units = [row[2] for row in sheet.iter_rows() if row[2].value == "inHg absolute"]
    assert len(units) == 1, units
    needed = style.width_px("inHg absolute", 9)
    assert 7 * plain.column_dimensions["C"].width < needed < 7 * sheet.column_dimensions["C"].width
