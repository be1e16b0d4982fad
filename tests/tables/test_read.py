import hashlib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.tables.cells import a1
from basemap.tables.read import read_grid
from tests.builders.cases import each
from tests.tables.donors import LOADS, PLAIN, SPEEDS, VALUES, content_of, read


@each(
    "text",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        PLAIN.replace("\n", "\r"),
        PLAIN.replace(",", ", "),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", ";"),
        PLAIN.replace(",", ";").replace(".", ","),
        PLAIN.replace(",", " ").strip(),
        "500 1000 1500\n30 45.5 46.5 47.5\n60 50.5 51.5 52.5\n",
        ",500,1000,1500\n60,50.5,51.5,52.5\n30,45.5,46.5,47.5\n",
        ",1500,1000,500\n30,47.5,46.5,45.5\n60,52.5,51.5,50.5\n",
        ",30,60\n500,45.5,50.5\n1000,46.5,51.5\n1500,47.5,52.5\n",
        ",60,30\n1500,52.5,47.5\n1000,51.5,46.5\n500,50.5,45.5\n",
        ",500 rpm,1000 rpm,1500 rpm\n30 kPa,45.5,46.5,47.5\n60 kPa,50.5,51.5,52.5\n",
        ',"500","1,000","1,500"\n30,45.5,46.5,47.5\n60,50.5,51.5,52.5\n',
        ";500;1.000;1.500\n30;45,5;46,5;47,5\n60;50,5;51,5;52,5\n",
        ';500;1 000;1 500\n30;"45,5";46,5;47,5\n60;50,5;51,5;52,5\n',
        ',500,1000,1500\n30,"45,5","46,5","47,5"\n60,"50,5","51,5","52,5"\n',
        "sep=;\n" + PLAIN.replace(",", ";"),
        'kPa\\rpm,500,1000,1500\n30,4.55E+01,46.5,47.5\n60,50.5,51.5,"52.5"\n',
    ],
)
def test_the_same_grid_in_many_shapes(text: str) -> None:
    assert content_of(read(text)) == (SPEEDS, LOADS, VALUES)


def test_signs_of_a_typographer() -> None:
    assert read(",500,1000\n\u221210,\u22121.5,2\n0,3,4\n").values.tolist() == [[-1.5, 2.0], [3.0, 4.0]]


@each(("decimal", "first"), [(",", 2.5), (".", 2500.0)])
def test_an_open_decimal_mark_is_settled_by_the_user(decimal: str, first: float) -> None:
    grid = read("\t500\t1000\n30\t2,500\t2,600\n60\t3,500\t3,600\n", decimal=decimal)
    assert grid.values[0, 0] == first


def test_one_cell_settles_the_decimal_mark_of_all() -> None:
    assert read(";500;1000\n30;2,500;2,600\n60;3,500;3,65\n").values.tolist() == [[2.5, 2.6], [3.5, 3.65]]


def test_three_decimals_after_a_point_are_decimals_where_no_semicolon_separates() -> None:
    assert read("\t500\t1000\n30\t2.500\t2.600\n60\t3.500\t3.600\n").values[0].tolist() == [2.5, 2.6]


def test_what_a_grid_file_says_of_its_file(tmp_path: Path) -> None:
    path = tmp_path / "Fuel.CSV"
    path.write_bytes(PLAIN.encode())
    grid = read_grid(path, shown_name="maps/Fuel.CSV")
    assert (grid.name, grid.sha256) == ("maps/Fuel.CSV", hashlib.sha256(PLAIN.encode()).hexdigest())
    assert (grid.unit, grid.remarks, grid.layout.decimals) == (None, (), 1)
    assert read_grid(path).name == str(path)


def test_the_remark_on_an_encoding() -> None:
    grid = read(b"Temp\xe9rature\n" + PLAIN.encode())
    assert grid.remarks == ("the file is not UTF-8: its text was read as Windows-1252",)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("none.csv", "no such file: expected a file with a table"),
        ("folder.csv", "is a folder: expected a file with a table"),
        ("fuel.ods", "this program does not read this kind of file: expected .csv, .tsv, .txt or .xlsx"),
        ("fuel\0.csv", "a file name cannot contain a null character: take it out of the name"),
    ],
)
def test_files_that_cannot_be_opened(tmp_path: Path, name: str, message: str) -> None:
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(InputError) as caught:
        read_grid(tmp_path / name, shown_name=name)
    assert str(caught.value) == f"{name}: {message}"


def test_a_file_above_the_limit_is_refused() -> None:
    with pytest.raises(InputError) as caught:
        read(b" " * (20 * 1024 * 1024 + 1))
    assert str(caught.value) == "standard input: is larger than 20 MiB: expected a file with a table"


CELL = st.tuples(st.integers(1, 3), st.integers(1, 4)).filter(lambda place: place != (1, 1))


@pytest.mark.law
@given(CELL, st.sampled_from(["", "rich", "nan", "1e400", "0x10", "TRUE", "#N/A", "1;2"]))
def test_no_cell_can_be_spoilt_in_silence(place: tuple[int, int], spoilt: str) -> None:
    lines = [line.split(",") for line in PLAIN.splitlines()]
    lines[place[0] - 1][place[1] - 1] = spoilt
    with pytest.raises(InputError) as caught:
        read("\n".join(",".join(line) for line in lines))
    assert str(caught.value).startswith(f"standard input: {a1(place)} (row {place[0]}, column {place[1]}): the cell ")


@pytest.mark.law
@given(st.integers(0, len(PLAIN) - 1), st.characters(max_codepoint=0x2FFF, exclude_categories=["Cs"]))
def test_one_wrong_sign_is_refused_or_changes_one_number(position: int, sign: str) -> None:
    try:
        grid = read(PLAIN[:position] + sign + PLAIN[position + 1 :])
    except InputError:
        return
    down, across = grid.layout.row_axis, grid.layout.column_axis
    in_file = grid.values[:: -1 if down.falls else 1, :: -1 if across.falls else 1]
    changed = (in_file != VALUES).sum() + sum(old != new for old, new in zip(LOADS, down.values, strict=True))
    assert changed + sum(old != new for old, new in zip(SPEEDS, across.values, strict=True)) <= 1


@given(st.binary(max_size=200) | st.text('0123456789.,;\t\n\r "#-ekPa', max_size=200).map(str.encode))
def test_no_bytes_whatever_end_in_anything_but_a_grid_or_a_message(data: bytes) -> None:
    try:
        grid = read(data)
    except InputError:
        return
    assert grid.values.shape == (grid.load.size, grid.rpm.size)


def test_more_decimals_than_a_number_holds_are_not_believed(tmp_path: Path) -> None:
    """Found by random changes of a file: hundreds of decimals overflowed where a stored cell is rounded."""
    path = tmp_path / "long.csv"
    path.write_text(f"kPa,1000,2000\n40,50.0,60.{'9' * 400}\n80,60.0,70.0\n")
    grid = read_grid(path)
    assert grid.layout.decimals == 15
    assert grid.values[0, 1] == 61.0
