import csv

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.errors import InputError
from basemap.tables.text import decode, find_separator, is_comment, read_text, split_line, unquoted
from tests.builders.cases import each


def message_of(data: bytes) -> str:
    with pytest.raises(InputError) as caught:
        read_text(data)
    return str(caught.value)


@each(
    ("bom", "codec"),
    [(b"", "utf-8"), (b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")],
)
def test_encodings_by_their_mark(bom: bytes, codec: str) -> None:
    decoded = decode(bom + "λ 500".encode(codec))
    assert (decoded.text, decoded.codec, decoded.bom, decoded.remarks) == ("λ 500", codec, bom, ())


def test_what_is_not_utf8_is_windows_1252_and_said_so() -> None:
    decoded = decode(b"temp\xe9rature \x80 1")
    assert (decoded.text, decoded.codec) == ("température € 1", "cp1252")
    assert decoded.remarks == ("the file is not UTF-8: its text was read as Windows-1252",)


def test_bytes_that_windows_1252_does_not_know_are_kept_as_latin_1() -> None:
    assert decode(b"a\x81b").codec == "latin-1"


@each(
    ("lines", "separator"),
    [
        ([",500,1000", "30,1,2", "60,3,4"], ","),
        ([";500;1000", "30;1,5;2,5", "60;3,5;4,5"], ";"),
        (["\t500\t1000", "30\t1,5\t2,5", "60\t3,5\t4,5"], "\t"),
        (["  500 1000", "30 1,5 2", "60 3,5 460,5"], " "),
        (["t 500 1000", "10,5 0 1,0", "30,25 2 3,0"], " "),
        (["a, b, title; 1, 2", ";500;1000", "30;1;2", "60;3;4"], ";"),
        (["sep=;", "a,b"], ";"),
        (["\t500\t1000", "30\t2 100\t2 200", "60\t2 300\t2 400"], "\t"),
    ],
)
def test_the_separator_that_makes_rows_of_numbers(lines: list[str], separator: str) -> None:
    assert find_separator(lines) == separator


@each(
    ("line", "fields"),
    [
        ("a;b;;c", ["a", "b", "", "c"]),
        ('"a;b";c', ['"a;b"', "c"]),
        ('"say ""x"";y";2', ['"say ""x"";y"', "2"]),
        (' "a" ; 2', [' "a" ', " 2"]),
        ('3.5" bore;2', ['3.5" bore', "2"]),
        ('"not closed;2', ['"not closed', "2"]),
        ("", [""]),
    ],
)
def test_fields_are_kept_verbatim(line: str, fields: list[str]) -> None:
    assert split_line(line, ";") == fields


@given(st.lists(st.text('ab ,"5', max_size=6), min_size=1, max_size=6))
def test_fields_are_those_of_the_csv_module(fields: list[str]) -> None:
    line = ",".join('"' + field.replace('"', '""') + '"' for field in fields)
    assert [unquoted(field) for field in split_line(line, ",")] == [field.strip() for field in next(csv.reader([line]))]


@pytest.mark.law
@given(st.text('ab1 ,;\t"', max_size=30), st.sampled_from([",", ";", "\t", " "]))
def test_fields_joined_again_are_the_line(line: str, separator: str) -> None:
    assert separator.join(split_line(line, separator)) == line


def test_text_before_the_first_number_is_one_field_between_blanks() -> None:
    assert split_line("MAP in kPa  500 1000 ", " ") == ["MAP in kPa", " 500", "1000 "]


@each("line", ["# made by hand", "  # 40,41,42", "#"])
def test_comments(line: str) -> None:
    assert is_comment(line)


@each("line", ["#REF!,1,2", "#N/A,1", "###,1,2", "#,500,1000", "a # b"])
def test_errors_of_a_spreadsheet_are_no_comments(line: str) -> None:
    assert not is_comment(line)


def test_a_long_line_is_refused() -> None:
    assert message_of(b"500,1000\n" + b"1," * 60_000) == (
        "row 2: the line has 120000 characters: expected a table, with lines of at most 100000"
    )


def test_too_many_cells_are_refused() -> None:
    assert message_of((b"1," * 500 + b"\n") * 500) == (
        "the file has more than 250000 cells, far more than a table: expected only the table"
    )


def test_a_large_table_aligned_with_blanks_is_not_counted_by_its_blanks() -> None:
    row = b"".join(b"%8d" % number for number in range(300))
    assert len(read_text((row + b"\n") * 200).raw[0]) == 300
