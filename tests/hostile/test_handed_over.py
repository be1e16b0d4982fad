"""What leaves with a result does nothing where it is opened: no live formula, no link, no macro."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path

import pytest

from basemap.tables.line import read_line, render_line
from basemap.tables.read import read_grid
from basemap.tables.write import render_grid
from tests.cli.program import SAMPLES, run
from tests.jobs.invalid_tables.build import setting, workbook

STARTS = ["=1+1", "+cmd", "-2+3+cmd|' /C calc'!A0", "@SUM(1)", "＝1+1", '"=1+1"', " =1+1", "\u200b=1+1"]
LIVE = re.compile(r"""[\s"\u200b]*[=+\-@＝＋－＠]""")


def live_fields(data: bytes) -> list[str]:
    """Fields that a spreadsheet program would calculate, whichever separator it divides at."""
    fields = re.split(r"[,;\t\r\n]", data.decode("utf-8"))
    return [field for field in fields if LIVE.match(field) and not re.fullmatch(r"-[0-9.]+", field.strip())]


@pytest.mark.parametrize("start", STARTS)
def test_no_text_of_the_donors_file_is_a_formula_in_the_new_one(start: str) -> None:
    before = f"{start},{start}\n# a,{start}\n{start},500,1000\n30,-1.5,2.5,{start}\n60,3.5,4.5,{start}\n\n{start}\n"
    found = read_grid("-", stdin=io.BytesIO(before.encode()))
    after = render_grid(found.values, found.layout)
    assert live_fields(after) == []
    again = read_grid("-", stdin=io.BytesIO(after))
    assert (again.rpm.tolist(), again.load.tolist()) == ([500.0, 1000.0], [30.0, 60.0])
    assert again.values.tolist() == [[-1.5, 2.5], [3.5, 4.5]]


@pytest.mark.parametrize("start", STARTS)
def test_no_text_beside_a_table_with_one_axis_is_either(start: str) -> None:
    before = f"{start}\ndegC,-20,0,20\n{start},62,37,22\n"
    found = read_line("-", stdin=io.BytesIO(before.encode()))
    after = render_line(found.values, found.layout)
    assert live_fields(after) == []
    again = read_line("-", stdin=io.BytesIO(after))
    assert (again.axis.tolist(), again.values.tolist()) == ([-20.0, 0.0, 20.0], [62.0, 37.0, 22.0])


def test_a_plain_file_is_written_back_byte_by_byte() -> None:
    before = b"gauge;500;1000\n-30;-1,5;+2,5\n60;3,5;4,5\n"
    found = read_grid("-", stdin=io.BytesIO(before))
    assert render_grid(found.values, found.layout) == before.replace(b"+2,5", b"2,5")
    blanks = b"load 500 1000\n-30 -1.5 2.5\n60 3.5 4.5\n"
    found = read_grid("-", stdin=io.BytesIO(blanks))
    assert render_grid(found.values, found.layout) == blanks


@pytest.mark.parametrize("corner", ["a\r\n=1+1", "@1+1", "# rpm", "a\n\n@x", "\t=1"])
def test_the_corner_of_a_workbook_stays_one_inert_field(corner: str) -> None:
    found = read_grid("-", stdin=io.BytesIO(workbook(setting("A1", corner))))
    after = render_grid(found.values, found.layout)
    assert live_fields(after) == []
    assert len(after.splitlines()) == 4
    assert read_grid("-", stdin=io.BytesIO(after)).values.tolist() == found.values.tolist()


def test_no_link_no_macro_and_nothing_of_another_file_leaves_with_the_workbook(tmp_path: Path) -> None:
    for sample in SAMPLES.glob("*.*"):
        (tmp_path / sample.name).write_bytes(sample.read_bytes())
    job = tmp_path / "orchard_pickup.toml"
    text = job.read_text(encoding="utf-8")
    hostile = '=HYPERLINK(\\"http://example.invalid\\") [1]Sheet1!A1 http://example.invalid mailto:a@b'
    job.write_text(f'notes = "{hostile}"\n' + text.replace('title = "', f'title = "{hostile} ', 1), encoding="utf-8")
    assert run("adapt", job, "--out", tmp_path / "out").stderr == ""
    with zipfile.ZipFile(tmp_path / "out" / "orchard_pickup.xlsx") as archive:
        names = archive.namelist()
        parts = {name: archive.read(name).decode("utf-8", "replace") for name in names}
    foreign = re.compile("vba|macro|externalLink|activeX|embeddings|connections|queryTable|ctrl")
    assert [name for name in names if foreign.search(name)] == []
    assert [name for name, xml in parts.items() if 'TargetMode="External"' in xml] == []
    assert [name for name, xml in parts.items() if "macroEnabled" in xml] == []
    formulas = [f for xml in parts.values() for f in re.findall(r"<f[^>]*>([^<]*)</f>", xml)]
    assert len(formulas) > 100
    assert [f for f in formulas if re.search(r"HYPERLINK|WEBSERVICE|DDE|example|\[\d+\]|file:", f)] == []
