import io
import warnings
from collections.abc import Callable

import pytest
import xlsxwriter
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook
from openpyxl.chart import LineChart
from openpyxl.worksheet.worksheet import Worksheet

from basemap.errors import InputError
from basemap.tables.cells import a1
from basemap.tables.grid import GridFile
from basemap.tables.write import render_grid
from tests.builders.cases import each
from tests.jobs.invalid_tables.build import setting, sheet_xml, table, with_part, workbook
from tests.tables.donors import content_of, read

SPEEDS = [500.0, 1000.0, 1500.0]
LOADS = [30.0, 60.0, 100.0]
VALUES = [[45.5, 46.5, 47.5], [50.5, 51.5, 52.5], [60.5, 61.5, 62.5]]
SOUND = (SPEEDS, LOADS, VALUES)


def moved(sheet: Worksheet) -> None:
    sheet.move_range("A1:D4", rows=2, cols=1)
    sheet["B1"] = "Volumetric efficiency (%)"


def rendered(grid: GridFile) -> str:
    return render_grid(grid.values, grid.layout).decode()


def test_a_table_alone_on_a_sheet() -> None:
    grid = read(workbook())
    assert content_of(grid) == SOUND
    assert (grid.unit, grid.remarks, grid.layout.kind, grid.layout.decimals) == (None, (), "xlsx", 1)


def test_a_table_somewhere_on_a_sheet_under_its_title() -> None:
    grid = read(workbook(moved))
    assert content_of(grid) == SOUND
    assert (grid.unit, grid.remarks) == ("%", ())


@each("cells", ["B3:E6", "b3:e6", "$B$3:$E$6", "E6:B3", " B3:E6 "])
def test_a_range_names_the_table(cells: str) -> None:
    grid = read(workbook(moved, lambda sheet: table(sheet, 10, 2)), cells=cells)
    assert content_of(grid) == SOUND
    assert grid.unit == "%"


def test_a_range_may_take_part_of_a_table() -> None:
    assert read(workbook(), cells="A1:C3").values.tolist() == [[45.5, 46.5], [50.5, 51.5]]


@each(
    ("cells", "message"),
    [
        ("K200:R208", 'cells = "K200:R208" holds no number: the sheet has content in Fuel!A1:D4'),
        (
            "A1:R19",
            'cells = "A1:R19" includes blank rows or columns: the content there ends at D4, so perhaps you mean '
            '"A1:D4"',
        ),
    ],
)
def test_a_range_beside_its_table(cells: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read(workbook(), cells=cells)
    assert str(caught.value) == f"standard input: {message}"


def test_a_sheet_is_chosen_by_name_or_because_it_alone_holds_a_table() -> None:
    def two(sheet: Worksheet) -> None:
        assert sheet.parent is not None
        table(sheet.parent.create_sheet("Race fuel"))
        sheet["C3"] = 99

    def one(sheet: Worksheet) -> None:
        assert sheet.parent is not None
        notes = sheet.parent.create_sheet("Notes", 0)
        notes["A1"], notes["B1"], notes["A2"], notes["B2"] = 8, 2.6, 10, 1.75
        sheet.parent.create_chartsheet("Chart").add_chart(LineChart())

    assert content_of(read(workbook(two), sheet="Race fuel")) == SOUND
    assert content_of(read(workbook(one))) == SOUND


def test_a_range_chooses_the_only_sheet_that_has_cells_there() -> None:
    def edit(sheet: Worksheet) -> None:
        assert sheet.parent is not None
        sheet.parent.create_sheet("Notes")["A9"] = "nothing"

    assert content_of(read(workbook(edit), cells="A1:D4")) == SOUND


def test_numbers_written_as_text() -> None:
    def as_text(sheet: Worksheet) -> None:
        for row in sheet["A1:D4"]:
            for cell in row:
                cell.value = str(cell.value).replace(".", ",")

    grid = read(workbook(as_text))
    assert content_of(grid) == SOUND
    assert rendered(grid) == "kPa\\rpm;500;1000;1500\n30;45,5;46,5;47,5\n60;50,5;51,5;52,5\n100;60,5;61,5;62,5\n"


def test_a_workbook_is_written_as_text_with_commas() -> None:
    grid = read(workbook(moved))
    assert rendered(grid) == "kPa\\rpm,500,1000,1500\n30,45.5,46.5,47.5\n60,50.5,51.5,52.5\n100,60.5,61.5,62.5\n"
    assert grid.layout.form.extension == ".csv"


def test_a_corner_with_a_comma_is_quoted() -> None:
    text = rendered(read(workbook(setting("A1", 'kPa, "abs"'))))
    assert text.splitlines()[0] == '"kPa, ""abs""",500,1000,1500'
    assert content_of(read(text)) == SOUND


@each(
    ("number_format", "decimals"),
    [("General", 4), ("0", 0), ("0.0", 1), ("#,##0.00", 2), ('0.000" ms"', 3), ("0.00E+00", 4), ("[Red]0.0;-0.0", 1)],
)
def test_decimals_are_those_that_the_sheet_shows(number_format: str, decimals: int) -> None:
    def edit(sheet: Worksheet) -> None:
        for row in sheet["B2:D4"]:
            for cell in row:
                cell.value, cell.number_format = float(str(cell.value)) / 3.0, number_format

    grid = read(workbook(edit))
    assert grid.layout.decimals == decimals
    assert grid.values[0, 0] == float(
        f"{45.5 / 3.0:.16g}"
    )  # openpyxl writes sixteen digits, one fewer than a float has


def test_values_shown_in_per_cent_are_read_as_shown() -> None:
    def edit(sheet: Worksheet) -> None:
        for row in sheet["B2:D4"]:
            for cell in row:
                cell.value, cell.number_format = float(str(cell.value)) / 100.0, "0.0%"

    grid = read(workbook(edit))
    assert (content_of(grid), grid.unit, grid.layout.decimals) == (SOUND, "%", 1)


def hidden(sheet: Worksheet) -> None:
    sheet.row_dimensions[3].hidden = True
    sheet.row_dimensions[9].hidden = True
    sheet.column_dimensions.group("B", "C", hidden=True)
    assert sheet.parent is not None
    sheet.parent.create_sheet("Front")
    sheet.sheet_state = "veryHidden"


def beside(sheet: Worksheet) -> None:
    sheet["G2"], sheet["H2"] = "displacement", 1998
    sheet.merge_cells("G5:H6")


@each(
    ("edit", "remarks"),
    [
        (
            hidden,
            ("the sheet Fuel is hidden and was read", "hidden rows were read: 3", "hidden columns were read: B, C"),
        ),
        (beside, ("not read: Fuel!G2:H2, outside the table",)),
    ],
)
def test_what_is_read_all_the_same_is_said(edit: Callable[[Worksheet], None], remarks: tuple[str, ...]) -> None:
    grid = read(workbook(edit))
    assert content_of(grid) == SOUND
    assert grid.remarks == remarks


def test_calculated_formulas_are_read_and_said() -> None:
    stream = io.BytesIO()
    book = xlsxwriter.Workbook(stream, {"in_memory": True})
    sheet = book.add_worksheet("Fuel")
    for row, values in enumerate([["", *SPEEDS], [LOADS[0], *VALUES[0]], [LOADS[1], *VALUES[1]]]):
        sheet.write_row(row, 0, values)
    sheet.write_formula("C3", "=B3+1", value=51.5)
    book.close()
    grid = read(stream.getvalue())
    assert content_of(grid) == (SPEEDS, LOADS[:2], VALUES[:2])
    assert grid.remarks == ("1 cells are formulas: their last calculated values were read",)


def test_a_sheet_that_claims_to_be_endless_is_read_at_once() -> None:
    part = "xl/worksheets/sheet1.xml"
    data = with_part(workbook(), part, lambda xml: xml.replace(b'ref="A1:D4"', b'ref="A1:XFD1048576"'))
    assert data != workbook()
    assert content_of(read(data)) == SOUND


def test_a_far_cell_does_no_harm_where_the_table_is_named() -> None:
    assert content_of(read(workbook(setting("XFD1048576", 1)), cells="A1:D4")) == SOUND


def test_what_openpyxl_warns_of_does_not_reach_the_user() -> None:
    extension_list = '<extLst><ext uri="{CCE6A557-97BC-4b89-ADB6-D9C93CAAB3DF}"/></extLst>'
    data = sheet_xml("</sheetData>", "</sheetData>" + extension_list)
    with pytest.warns(UserWarning, match="Data Validation extension is not supported"):
        load_workbook(io.BytesIO(data))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert content_of(read(data)) == SOUND


@pytest.mark.law
def test_one_byte_changed_anywhere_is_refused_or_changes_nothing() -> None:
    data = workbook()
    outcomes: set[bool | None] = set()
    for position in range(4, len(data), 31):
        changed = bytearray(data)
        changed[position] ^= 0xFF
        try:
            outcomes.add(content_of(read(bytes(changed))) == SOUND)
        except InputError:
            outcomes.add(None)
    assert outcomes == {True, None}


PLACES = st.tuples(st.integers(1, 4), st.integers(1, 4)).filter(lambda place: place != (1, 1))


@pytest.mark.law
@given(PLACES, st.sampled_from([None, "", "rich", True, "=1+1", "0x10", "1e400"]))
def test_no_cell_can_be_spoilt_in_silence(place: tuple[int, int], spoilt: object) -> None:
    with pytest.raises(InputError) as caught:
        read(workbook(setting(a1(place), spoilt)))
    assert str(caught.value).startswith(
        f"standard input: Fuel!{a1(place)} (row {place[0]}, column {place[1]}): the cell "
    )
