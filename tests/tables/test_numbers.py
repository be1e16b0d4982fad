import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.tables.numbers import decimals_of, is_number_like, parse, settled_by, split_unit
from tests.builders.cases import each


@each(
    ("text", "mark", "value"),
    [
        ("45", ".", 45.0),
        ("45.5", ".", 45.5),
        ("45,5", ",", 45.5),
        ("45.", ".", 45.0),
        (".5", ".", 0.5),
        (",5", ",", 0.5),
        ("+3.5", ".", 3.5),
        ("-3.5", ".", -3.5),
        ("\u22123,5", ",", -3.5),
        ("1.5E+01", ".", 15.0),
        ("1,5e-1", ",", 0.15),
        ("2 000", ".", 2000.0),
        ("2\u00a0000,5", ",", 2000.5),
        ("2\u202f000", ".", 2000.0),
        ("2'000.25", ".", 2000.25),
        ("1,234,567.5", ".", 1234567.5),
        ("1.234.567,5", ",", 1234567.5),
        ("2,500", ".", 2500.0),
        ("2.500", ",", 2500.0),
        ("2,500", ",", 2.5),
        ("030", ".", 30.0),
    ],
)
def test_a_number_is_read_with_its_decimal_mark(text: str, mark: str, value: float) -> None:
    assert parse(text, mark) == value  # type: ignore[arg-type]


@each(
    "text",
    ["", "rich", "nan", "inf", "0x2D", "1_000", "٥١", "20 00", "1,23", "1.2.3", "12 0000", "1e", "1e5.0", "--1", "1 e5",
     "TRUE", "5.12.2024", "1/2", "45%", "2,500,00", "1 234 5", "1'23", "1e99999"],
)  # fmt: skip
def test_what_is_no_number_is_none(text: str) -> None:
    assert parse(text, ".") is None


def test_too_large_and_too_small_are_told_apart_from_a_number() -> None:
    assert parse("1e400", ".") == math.inf
    assert math.isnan(parse("1e-400", ".") or 0.0)
    assert parse("0e-400", ".") == 0.0


@each(
    ("text", "settled"),
    [
        ("2500", None),
        ("rich", None),
        ("5.12.2024", None),
        ("2,5", ","),
        ("2,50", ","),
        ("2,5000", ","),
        ("0,500", ","),
        ("2500,125", ","),
        ("2.5", "."),
        ("0.500", "."),
        ("2,500.5", "."),
        ("2.500,5", ","),
        ("1,234,567", "."),
        ("1.234.567", ","),
        ("2,500", "open"),
        ("-2.500", "open"),
        ("125,250", "open"),
    ],
)
def test_which_decimal_mark_a_number_settles(text: str, settled: str | None) -> None:
    assert settled_by(text) == settled


@each(
    ("text", "parts"),
    [
        ("1500 rpm", ("1500", " rpm")),
        ("1500rpm", ("1500", "rpm")),
        ("1 500 1/min", ("1 500", " 1/min")),
        ("15001/min", ("15001/min", "")),
        ("2.5 ms", ("2.5", " ms")),
        ("30 kPa", ("30", " kPa")),
        ("1500", ("1500", "")),
        ("rpm", ("rpm", "")),
        ("1998 cc", ("1998 cc", "")),
    ],
)
def test_a_unit_is_split_from_its_number(text: str, parts: tuple[str, str]) -> None:
    assert split_unit(text) == parts


def test_a_page_of_text_is_no_number_and_takes_no_time() -> None:
    assert not is_number_like("1" + " " * 100_000 + "x")


@each(("text", "decimals"), [("85", 0), ("85.50", 2), ("8.5e1", 0), ("8.55e-1", 3), ("85.", 0)])
def test_decimals_as_written(text: str, decimals: int) -> None:
    assert decimals_of(text, ".") == decimals


@pytest.mark.law
@given(st.decimals(-99999, 99999, places=3, allow_nan=False), st.sampled_from([",", "."]))
def test_any_plain_number_is_read_as_the_nearest_float(number: Decimal, mark: str) -> None:
    assert parse(str(number).replace(".", mark), mark) == float(number)  # type: ignore[arg-type]
