"""A workbook that comes back: what was changed is said, and its new table is a donor's table."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import numpy as np
import pytest
from openpyxl import load_workbook

from basemap.errors import InputError
from basemap.model.result import Result
from basemap.tables.guard import MOST_OF_OUR_OWN, guard
from basemap.tables.read import read_grid
from basemap.tables.workbook import is_ours
from basemap.workbook import write_workbook
from basemap.workbook.returned.book import address
from basemap.workbook.returned.edits import compare_workbooks
from tests.jobs.invalid_tables.build import with_part
from tests.workbook.cells import areas_of, cells_of
from tests.workbook.edited import Entries, edited, without_cells_but
from tests.workbook.invented_job import make_result
from tests.workbook.office import Office, needs_libreoffice
from tests.workbook.read_once import each_file_is_read_once
from tests.workbook.variants import STUCK
from tests.workbook.variants import issued as issued_variant
from tests.workbook.what_if import Change, run_again

__all__ = ["each_file_is_read_once"]


@pytest.fixture(scope="module")
def result() -> Result:
    return issued_variant(STUCK).result


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("issued") / "crane.xlsx"
    path.write_bytes(issued_variant(STUCK).content)
    return path


@pytest.fixture(scope="module")
def light(issued: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The issued workbook with the cells of three sheets only, for edits there: what its names stand for is the same."""
    return _with_cells_of({"Summary", "Tables", "Inputs"}, issued, tmp_path_factory)


@pytest.fixture(scope="module")
def bare(issued: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The issued workbook without any cell, for what is refused because of its names."""
    return _with_cells_of(set(), issued, tmp_path_factory)


def _with_cells_of(sheets: set[str], issued: Path, folders: pytest.TempPathFactory) -> Path:
    path = folders.mktemp("light") / "light.xlsx"
    path.write_bytes(without_cells_but(issued.read_bytes(), sheets))
    return path


def saved_by_another_program(issued: Path, path: Path, entries: Entries) -> Path:
    """A copy with values typed in, as a library saves it: other XML, and no value beside any formula."""
    book = load_workbook(issued)
    for (name, row, col), value in entries.items():
        ((sheet, address),) = list(book.defined_names[name].destinations)
        found = book[sheet][address.replace("$", "")]
        cell = found[row][col] if isinstance(found, tuple) else found
        cell.value = value
    book.save(path)
    return path


def test_nothing_changed(issued: Path) -> None:
    assert compare_workbooks(issued, issued).edits == ()


def test_each_kind_of_change_is_said(light: Path, result: Result, tmp_path: Path) -> None:
    entries = {("target_static_flow", 0, 0): 640, ("old_table", 1, 2): 55.5, ("new_table", 2, 1): 44}
    back = saved_by_another_program(light, tmp_path / "back.xlsx", entries)
    said = [str(edit) for edit in compare_workbooks(light, back).edits]
    table, load = result.job.donor.table, result.job.donor.table.load_pa / 1e3
    old, new = result.table.old[1, 2], result.table.new[2, 1]
    assert [line.split(";")[0] for line in said if "_table" not in line] == [
        f"old table ({table.rpm[2]:g} rpm, {load[1]:g} kPa",
        said[1],
        f"new table ({table.rpm[1]:g} rpm, {load[2]:g} kPa",
    ]
    assert said[0].endswith(f"): {old:.10g} became 55.5")
    assert said[1] == f"target_static_flow ({_where(light)}): 610 became 640"
    assert said[2].endswith(f"): a formula was replaced, {new:.10g} became 44")
    assert compare_workbooks(light, back).edits[2].before == pytest.approx(new, rel=1e-12)


def test_remarks_come_back(light: Path, tmp_path: Path) -> None:
    content = light.read_bytes()
    areas = areas_of(content)
    row, first = areas["target_rail_pressure"][1], areas["input_remarks"][1]
    label = cells_of(content)["Inputs", f"A{row + 1}"].value
    assert "pressure" in str(label)
    entries = {("summary_remarks", 1, 0): "Idles well.", ("input_remarks", row - first, 0): "gauge says 3.4"}
    found = compare_workbooks(light, edited(light, tmp_path / "back.xlsx", entries)).edits
    assert [(edit.kind, edit.name, edit.before, edit.after) for edit in found] == [
        ("remark", label, None, "gauge says 3.4"),
        ("remark", "remark", None, "Idles well."),
    ]
    assert {str(edit).partition("): ")[2] for edit in found} == {"“gauge says 3.4”", "“Idles well.”"}


def test_another_workbook_is_refused(bare: Path, tmp_path: Path) -> None:
    other = with_part(
        bare.read_bytes(),
        "xl/workbook.xml",
        lambda xml: re.sub(rb'<definedName name="new_table">[^<]*</definedName>', b"", xml),
    )
    (tmp_path / "other.xlsx").write_bytes(other)
    with pytest.raises(InputError) as refused:
        compare_workbooks(bare, tmp_path / "other.xlsx")
    assert str(refused.value) == (
        f"{tmp_path / 'other.xlsx'}: is not a workbook that this program wrote: it has no cell named new_table; "
        'expected the .xlsx that "basemap adapt" wrote, or that file as it came back'
    )


def test_names_for_millions_of_cells_are_refused(bare: Path, tmp_path: Path) -> None:
    names = {f"stray_{'abcdefghij'[at % 10]}_{'klmno'[at // 10]}": "Summary!$A$1:$T$2000" for at in range(40)}
    many = with_names(bare, tmp_path / "many.xlsx", names)
    with pytest.raises(InputError) as caught:
        compare_workbooks(bare, many)
    named = str(caught.value).split("has names for ")[1].split(" cells")[0]
    assert int(named) > 40 * 40_000
    assert str(caught.value) == (
        f"{many}: has names for {named} cells, more than the 1000000 that are looked at; expected the workbook that was "
        "issued as it came back, with no names added"
    )


def test_its_new_table_is_what_is_read(issued: Path, result: Result) -> None:
    """Without a word about sheet or cells: what viewers see, the model's own values."""
    grid = read_grid(issued)
    assert np.array_equal(grid.rpm, result.job.donor.table.rpm)
    assert np.allclose(grid.load, result.job.donor.table.load_pa / 1e3, rtol=1e-12)
    # A sheet holds fifteen digits or more of each number.
    assert np.allclose(grid.values, result.table.new, rtol=1e-12)


def test_the_largest_workbook_that_is_written_is_read(tmp_path: Path) -> None:
    """80 by 80 cells, as many as a table may have: all of it passes the guard, and the names and tables are read.

    What is cut out before that is cells of sheets that only the guard counts: they are read as those of a small one.
    """
    stream = io.BytesIO()
    write_workbook(make_result(tmp_path, rows=80, cols=80), stream)
    content, path = stream.getvalue(), tmp_path / "large.xlsx"
    assert is_ours(content)
    guard(content, MOST_OF_OUR_OWN)
    path.write_bytes(without_cells_but(content, {"Summary", "Old", "New"}))
    assert compare_workbooks(path, path).edits == ()
    assert read_grid(path).values.shape == (80, 80)


def with_names(issued: Path, path: Path, names: dict[str, str]) -> Path:
    """A copy whose names stand for something else, or that has some more."""

    def change(xml: bytes) -> bytes:
        for name, text in names.items():
            added = f'<definedName name="{name}">{text}</definedName>'.encode()
            old = re.compile(rb'<definedName name="%s">[^<]*</definedName>' % name.encode())
            more = xml.replace(b"<definedNames>", b"<definedNames>" + added)
            xml = old.sub(added, xml) if old.search(xml) else more
        return xml

    path.write_bytes(with_part(issued.read_bytes(), "xl/workbook.xml", change))
    return path


OTHER_TEXTS = (
    "", " ", "other_name", "T[#All]", "$A$1:$C$3", "#REF!", "Tables!#REF!", '"abc', "Fuel!A1)", "[1]Fuel!$A$1", "[",
    "Tables!$1:$3", "Tables!$A$0", "Tables!$C$9:$A$1", "SUM(A1)", "Nowhere!$A$1", "{1,2}", "'", "'x'!A1," * 90_000,
)  # fmt: skip


@pytest.mark.parametrize("name", ["my_name", "MyName"])
def test_names_that_a_tuner_added_say_nothing(light: Path, tmp_path: Path, name: str) -> None:
    names = {f"{name}{'abcdefghijklmnopqrs'[number]}": text for number, text in enumerate(OTHER_TEXTS)}
    back = with_names(light, tmp_path / "back.xlsx", names)
    assert compare_workbooks(light, back).edits == ()


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("#REF!", '"#REF!"'),
        ("", "nothing"),
        ("T[#All]", '"T[#All]"'),
        ("foo", '"foo"'),
        ("Nowhere!$A$1", '"Nowhere!$A$1"'),
        ("Tables!$C$9:$A$1", '"Tables!$C$9:$A$1"'),
        ("'a'!A1," * 90_000, '"' + "'a'!A1," * 5 + "'a'!A" + '…"'),
    ],
    ids=["ref", "nothing", "table", "name", "sheet", "reversed", "long"],
)
def test_a_name_of_ours_that_is_damaged_is_said(bare: Path, tmp_path: Path, text: str, shown: str) -> None:
    for name in ("issued_status", "new_table"):
        back = with_names(bare, tmp_path / "back.xlsx", {name: text})
        said = (
            f"{back}: the name {name} of the workbook, which this program wrote, refers to {shown}: expected a range "
            "of cells on one of its sheets, as issued; start again from the issued workbook, or copy the table into "
            "a new one"
        )
        with pytest.raises(InputError) as refused:
            compare_workbooks(bare, back)
        assert str(refused.value) == said
    with pytest.raises(InputError) as refused:
        read_grid(back)
    assert str(refused.value) == said


def test_a_chart_in_place_of_a_sheet_is_said(bare: Path, tmp_path: Path) -> None:
    data = bare.read_bytes()
    with zipfile.ZipFile(bare) as archive:
        titles = re.findall(rb'<sheet name="([^"]*)"', archive.read("xl/workbook.xml"))
    part = f"worksheets/sheet{titles.index(b'Tables') + 1}.xml".encode()
    data = with_part(
        data,
        "xl/_rels/workbook.xml.rels",
        lambda xml: xml.replace(b'worksheet" Target="' + part, b'chartsheet" Target="' + part),
    )
    (tmp_path / "back.xlsx").write_bytes(data)
    with pytest.raises(InputError) as refused:
        compare_workbooks(bare, tmp_path / "back.xlsx")
    with zipfile.ZipFile(bare) as archive:
        found = re.search(rb'name="old_table">([^<]*)<', archive.read("xl/workbook.xml"))
    assert found is not None
    assert str(refused.value) == (
        f"{tmp_path / 'back.xlsx'}: the name old_table of the workbook, which this program wrote, refers to "
        f'"{found[1].decode()}": expected a range of cells on one of its sheets, as issued; start again from the '
        "issued workbook, or copy the table into a new one"
    )


def test_a_number_that_no_workbook_can_hold_is_an_edit(light: Path, tmp_path: Path) -> None:
    back = edited(light, tmp_path / "back.xlsx", {("target_static_flow", 0, 0): 123454321})
    with zipfile.ZipFile(back) as archive:
        part = next(name for name in archive.namelist() if b"<v>123454321</v>" in archive.read(name))
    data = with_part(back.read_bytes(), part, lambda xml: xml.replace(b"<v>123454321<", b"<v>" + b"9" * 400 + b"<"))
    back.write_bytes(data)
    assert [str(edit) for edit in compare_workbooks(light, back).edits] == [
        f"target_static_flow ({_where(light)}): 610 became “{'9' * 400}”"
    ]


@needs_libreoffice
@pytest.mark.libreoffice
def test_what_libreoffice_saves_is_read_as_edited(office: Office, issued: Path, tmp_path: Path) -> None:
    returned = edited(issued, tmp_path / "back.xlsx", {("target_static_flow", 0, 0): 640})
    saved = office.save(returned, tmp_path / "saved.xlsx")
    assert [str(edit) for edit in compare_workbooks(issued, saved).edits] == [
        f"target_static_flow ({_where(issued)}): 610 became 640"
    ]
    change = Change("", (), (("target.injectors.static_flow", "640 cc/min"),))
    assert np.allclose(read_grid(saved).values, run_again(STUCK, change, tmp_path), rtol=1e-9)


def _where(issued: Path) -> str:
    sheet, row, col, _, _ = areas_of(issued.read_bytes())["target_static_flow"]
    return address((sheet, row + 1, col + 1))
