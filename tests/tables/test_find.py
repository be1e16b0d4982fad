import pytest

from basemap.errors import InputError
from basemap.tables.cells import Cells, column_letters
from basemap.tables.find import find_area, find_blocks
from basemap.tables.text import read_text
from tests.builders.cases import each
from tests.tables.donors import LOADS, PLAIN, SPEEDS, VALUES, content_of, read


def cells_of(text: str) -> Cells:
    return read_text(text.encode()).cells


@each(
    ("text", "corner", "last"),
    [
        (PLAIN, (1, 1), (3, 4)),
        ("Fuel table\nunit: %\n" + PLAIN, (3, 1), (5, 4)),
        ("Fuel table,,,\n,,,\n" + PLAIN, (3, 1), (5, 4)),
        ("# by hand\n" + PLAIN + "# end\n", (2, 1), (4, 4)),
        (PLAIN + "smoothed by hand\n", (1, 1), (3, 4)),
        (PLAIN.replace("\n", ",\n"), (1, 1), (3, 4)),
        ("," + PLAIN.strip().replace("\n", "\n,") + "\n", (1, 2), (3, 5)),
        ("kPa," + PLAIN.strip().replace("\n", "\n,") + "\n", (1, 2), (3, 5)),
        (PLAIN.replace("\n", ",note\n"), (1, 1), (3, 4)),
    ],
)
def test_where_the_table_stands(text: str, corner: tuple[int, int], last: tuple[int, int]) -> None:
    area, remarks = find_area(cells_of(text), "say which")
    assert (area.corner, area.last, remarks) == (corner, last, ())


def test_a_comment_inside_a_table_does_not_cut_it_and_is_said() -> None:
    lines = PLAIN.splitlines()
    grid = read("\n".join([*lines[:2], "# 45,1,1,1", lines[2]]))
    assert content_of(grid) == (SPEEDS, LOADS, VALUES)
    assert grid.remarks == ("row 3 is a comment and was not read",)


def test_numbers_beside_the_table_are_left_and_said() -> None:
    grid = read("displacement,1998\nstatic flow,280\n\n" + PLAIN)
    assert content_of(grid) == (SPEEDS, LOADS, VALUES)
    assert grid.remarks == ("not read: A1:B2, outside the table",)


@each(
    ("below", "message"),
    [
        (
            "\n80,55.5,56.5,57.5\n",
            "A5 (row 5, column 1): there are numbers here, outside the table A1:D3, as if a blank row or column cut "
            "it in two: close the gap, or keep one table in a file",
        ),
        (
            "\nbad,55.5,56.5,57.5\n",
            "B5 (row 5, column 2): there are numbers here, outside the table A1:D3, as if a blank row or column cut "
            "it in two: close the gap, or keep one table in a file",
        ),
        ("bad,55.5,56.5,57.5\n", 'A4 (row 4, column 1): the cell holds "bad": expected a number here'),
        ("bad,worse\n", 'A4 (row 4, column 1): the cell holds "bad": expected a number here'),
        ("\nrpm,500,1000\n30,1,2\n60,1,2\n", "there is more than one table: A1:D3 and A5:C7; keep one table in a file"),
        (
            "\nnext\n1,500,1000\n30,1,2\n60,1,2\n",
            "there is more than one table: A1:D3 and A6:C8; keep one table in a file",
        ),
    ],
)
def test_rows_below_the_table_are_never_dropped_in_silence(below: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        read(PLAIN + below)
    assert str(caught.value) == f"standard input: {message}"


def test_blocks_are_cut_at_blank_rows_and_columns() -> None:
    cells = Cells({(1, 1): "a", (1, 2): "b", (3, 1): "c", (4, 1): "d", (3, 3): "e"})
    assert [block.places for block in find_blocks(cells)] == [[(1, 1), (1, 2)], [(3, 1), (4, 1)], [(3, 3)]]


@each(("column", "letters"), [(1, "A"), (26, "Z"), (27, "AA"), (702, "ZZ"), (703, "AAA")])
def test_column_letters(column: int, letters: str) -> None:
    assert column_letters(column) == letters
