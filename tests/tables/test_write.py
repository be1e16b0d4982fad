import numpy as np
import pytest
from hypothesis import given

from basemap.tables.read import read_grid
from basemap.tables.write import render_grid
from tests.builders.cases import each
from tests.tables.donors import PLAIN, VALUES, Donor, content_of, donors, read

ALIGNED = "        500   1000   1500\n 30    45.0   46.0  100.0\n100    50.0   51.0   52.0\n"
LEFT = "kPa   500    1000   1500\n30    45.0   46.0   100.0\n100   50.0   51.0   52.0\n"


@each(
    "text",
    [
        PLAIN,
        PLAIN.strip(),
        PLAIN.replace("\n", "\r\n"),
        "VE (%)\n\n" + PLAIN + "\nend\n\n",
        PLAIN.replace(",", ", "),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", "\t"),
        PLAIN.replace("\n", ",\n"),
        "Engine load," + PLAIN.strip().replace("\n", "\n,") + "\n",
        PLAIN.replace("60,", "# tuned on the road\n# twice\n60,"),
        ALIGNED,
        LEFT,
        LEFT.replace("1500", "1500 ").replace("52.0", "52.0 "),
        ALIGNED.replace("        500", "500"),
        ',500,1000\n30,45,46.25\n60,47.5,48\n',
        '"","500","1000"\n"30","45","46"\n"60","47","48"\n',
        ',500,1000\n30,"2,5","2,6"\n60,"2,7",3\n',
        ",1000 rpm,500 rpm\n60 kPa,45,46\n30 kPa,47,48\n",
        ";30;60\n500;  45,50;  -6,25\n1000; 147,50;   8,00\n",
    ],
)  # fmt: skip
def test_a_file_comes_back_as_it_was(text: str) -> None:
    grid = read(text)
    assert render_grid(grid.values, grid.layout).decode() == text


@pytest.mark.law
@given(donors())
def test_any_file_is_read_rightly_and_comes_back_as_it_was(donor: Donor) -> None:
    grid = read(donor.data, decimal=donor.decimal)
    assert content_of(grid) == (donor.rpm, donor.load, donor.values)
    assert render_grid(grid.values, grid.layout) == donor.data


@pytest.mark.law
@given(donors())
def test_new_values_are_read_back_as_written(donor: Donor) -> None:
    layout = read(donor.data, decimal=donor.decimal).layout
    values = np.arange(len(donor.load) * len(donor.rpm)).reshape(len(donor.load), -1).astype(np.float64) * 1.25 - 3.0
    again = read(render_grid(values, layout, 2), decimal=donor.decimal)
    assert content_of(again) == (donor.rpm, donor.load, values.tolist())


@pytest.mark.law
@given(donors())
def test_other_axes_are_read_back_as_written(donor: Donor) -> None:
    layout = read(donor.data, decimal=donor.decimal).layout
    rpm, load = np.array([700.0, 1450.5, 3000.0, 9000.0]), np.array([10.5, 20.0, 30.25])
    values = np.arange(12.0).reshape(3, 4)
    again = read(render_grid(values, layout.with_axes(rpm, load)), decimal=donor.decimal)
    assert content_of(again) == (rpm.tolist(), load.tolist(), values.tolist())
    assert again.layout.rows == layout.rows
    assert again.layout.row_axis.falls == layout.row_axis.falls
    assert again.layout.column_axis.falls == layout.column_axis.falls


def test_other_axes_in_full() -> None:
    layout = read('VE\nkPa;"1000 rpm";"500 rpm"\n30;45,5;46,0\n# x\n60;47,0;48,0\n').layout
    new = layout.with_axes(np.array([500.0, 1250.5]), np.array([20.0, 40.0, 60.0]))
    assert render_grid(np.arange(6.0).reshape(3, 2), new).decode() == (
        'VE\nkPa;"1250,5 rpm";"500 rpm"\n20;1,0;0,0\n40;3,0;2,0\n60;5,0;4,0\n'
    )


def test_axes_that_stay_keep_their_text() -> None:
    layout = read(",0500,1000.0\n30.00,45,46\n60,47,48\n").layout
    assert layout.with_axes(np.array([500.0, 1000.0]), np.array([30.0, 60.0])) == layout


@each(
    ("text", "first_row"),
    [
        (PLAIN, "30,,46.5,47.5"),
        (PLAIN.replace(",", ";").replace(".", ","), "30;;46,5;47,5"),
        (PLAIN.replace(",", " "), "30 - 46.5 47.5"),
        ('"","500","1000"\n"30","45","46"\n"60","47","48"\n', '"30","","46"'),
    ],
)
def test_what_has_no_value_is_an_empty_field(text: str, first_row: str) -> None:
    grid = read(text)
    values = grid.values.copy()
    values[0, 0] = np.nan
    assert render_grid(values, grid.layout).decode().splitlines()[1] == first_row


@each(
    ("value", "decimals", "text"),
    [
        (2.675, 2, "2.68"),
        (-2.675, 2, "-2.68"),
        (0.5, 0, "1"),
        (1.5, 0, "2"),
        (2.5, 0, "3"),
        (-0.04, 1, "0.0"),
        (1.005, 2, "1.01"),
        (12.0, 3, "12.000"),
        (1e7, 1, "10000000.0"),
    ],
)
def test_numbers_are_rounded_and_written_as_a_spreadsheet_does(value: float, decimals: int, text: str) -> None:
    grid = read(PLAIN)
    written = render_grid(np.full((2, 3), value), grid.layout, decimals).decode()
    assert written.splitlines()[1] == f"30,{text},{text},{text}"


def test_whole_numbers_between_semicolons_get_a_comma_where_decimals_are_asked_for() -> None:
    grid = read(";500;1000\n30;45;46\n60;47;48\n")
    assert render_grid(grid.values + 0.5, grid.layout, 1).decode() == ";500;1000\n30;45,5;46,5\n60;47,5;48,5\n"


def test_rows_that_stand_by_pressure_are_put_where_the_file_has_their_vacuum() -> None:
    grid = read(",500,1000\n0,90,91\n10,50,51\n20,30,31\n")
    by_pressure, vacuum = grid.values[::-1], grid.load[::-1]
    written = render_grid(by_pressure, grid.layout, load=vacuum)
    assert written == render_grid(grid.values, grid.layout, load=grid.load) == render_grid(grid.values, grid.layout)


def test_values_that_do_not_fit_the_layout_are_a_mistake_of_the_program() -> None:
    grid = read(PLAIN)
    with pytest.raises(ValueError, match=r"values of shape \(3, 2\) do not fit a layout of \(2, 3\) rows and columns"):
        render_grid(grid.values.T, grid.layout)
    with pytest.raises(ValueError, match="an infinite value cannot be written into a table"):
        render_grid(np.full((2, 3), np.inf), grid.layout)
    with pytest.raises(ValueError, match=r"the loads \[30.0, 90.0\] are not those of the layout, \[30.0, 60.0\]"):
        render_grid(grid.values, grid.layout, load=np.array([30.0, 90.0]))


@each(("separator", "ending"), [(",", ".csv"), (";", ".csv"), ("\t", ".tsv"), (" ", ".txt")])
def test_standard_input_gets_an_ending_by_its_separator(separator: str, ending: str) -> None:
    assert read(PLAIN.replace(",", separator)).layout.form.extension == ending


def test_a_file_keeps_its_ending(tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.mktemp("donor") / "fuel.TXT"
    path.write_bytes(PLAIN.encode())
    grid = read_grid(path)
    assert grid.layout.form.extension == ".txt"
    assert grid.values.tolist() == VALUES
