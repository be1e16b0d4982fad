import pytest

from basemap.errors import InputError
from basemap.tables.orientation import kind_of
from tests.builders.cases import each
from tests.tables.donors import PLAIN, read

SPEEDS_DOWN = ",30,60\n500,45.5,50.5\n1000,46.5,51.5\n1500,47.5,52.5\n"


def both_large(corner: str = "", above: str = "", left: str = "", suffix: str = "") -> str:
    """A grid whose rows are mbar and whose columns are rev/min: magnitude cannot tell them apart."""
    head = above + f"{corner},1000,2000,3000\n" if not left else f",,1000,2000,3000\n{left},800{suffix},1,2,3\n"
    rows = [f"{load}{suffix},1,2,3\n" for load in ((800, 1200) if not left else ())]
    return head + "".join(rows) + (f",1200{suffix},4,5,6\n" if left else "")


@each(
    ("text", "rows"),
    [
        (PLAIN, "load"),
        (SPEEDS_DOWN, "rpm"),
        (both_large(corner="mbar\\rpm"), "load"),
        (both_large(corner="rpm \\ load [mbar]"), "rpm"),
        (both_large(above=",,RPM\n"), "load"),
        (both_large(left="MAP (mbar)"), "load"),
        (both_large(suffix=" mbar"), "load"),
        (both_large(suffix=" 1/min"), "rpm"),
    ],
)
def test_what_the_rows_are(text: str, rows: str) -> None:
    assert read(text).layout.rows == rows


def test_the_user_decides_where_the_file_leaves_it_open() -> None:
    assert read(both_large(), rows="load").load.tolist() == [800.0, 1200.0]
    assert read(both_large(), rows="rpm").rpm.tolist() == [800.0, 1200.0]


@each("corner", ["rpm", "mbar/rpm", "rpm/mbar", ""])
def test_a_corner_that_can_be_read_two_ways_decides_nothing(corner: str) -> None:
    with pytest.raises(InputError) as caught:
        read(both_large(corner=corner))
    assert str(caught.value) == (
        "standard input: either axis could be engine speed: the rows run from 800 to 1200 and the columns from 1000 "
        'to 3000; say what the rows are: rows = "load" or rows = "rpm"'
    )


@each(
    ("label", "kind"),
    [
        ("RPM", "rpm"),
        ("Engine speed (1/min)", "rpm"),
        ("rpm →", "rpm"),
        ("MAP [kPa]", "load"),
        ("Manifold pressure, kPa absolute", "load"),
        ("TPS %", "load"),
        ("Load", "load"),
        ("MAP vs RPM", None),
        ("load rpm", None),
        ("Fuel map", None),
        ("vehicle speed", None),
        ("", None),
    ],
)
def test_what_a_label_names(label: str, kind: str | None) -> None:
    assert kind_of(label) == kind


@each(
    ("above", "corner", "unit"),
    [
        ("", "", None),
        ("VE (%)", "", "%"),
        ("Fuel table, per cent", "kPa", "%"),
        ("Injection time in ms", "", "ms"),
        ("Base pulse [us]", "", "us"),
        ("Base pulse, µs", "", "us"),
        ("", "ms", "ms"),
        ("", "%", "%"),
        ("Injection time in ms", "TPS % \\ rpm", "ms"),
        ("Fuel table", "TPS %", None),
        ("Throttle %", "", None),
        ("VE % and ms", "", None),
        ("items of the terms", "", None),
        ("A map for us all", "", None),
    ],
)
def test_the_unit_of_the_values(above: str, corner: str, unit: str | None) -> None:
    assert read(f'"{above}"\n"{corner}"{PLAIN}').unit == unit


def test_a_comment_above_the_table_may_say_the_unit() -> None:
    assert read("# volumetric efficiency in %\n" + PLAIN).unit == "%"
    assert read(PLAIN + "# read in ms\n").unit is None
