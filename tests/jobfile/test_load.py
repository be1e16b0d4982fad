"""Reading the job file itself: what is no job file, and what every job carries."""

from __future__ import annotations

import hashlib
import io
import shutil
import time
import tomllib
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.jobfile.load import build_job, load_job
from tests.builders.files import VALID


def refusal(path: Path) -> str:
    with pytest.raises(InputError) as caught:
        load_job(path)
    return str(caught.value)


def test_a_missing_file(tmp_path: Path) -> None:
    path = tmp_path / "no.toml"
    assert refusal(path) == f"{path}: no such file: expected a job file such as van.toml"


def test_a_folder(tmp_path: Path) -> None:
    assert refusal(tmp_path) == f"{tmp_path}: is a folder: expected a job file such as van.toml"


def test_an_empty_file(tmp_path: Path) -> None:
    path = tmp_path / "empty.toml"
    path.write_text(" \n", encoding="utf-8")
    assert refusal(path) == f'{path}: is empty: "basemap new --blank" writes a template to fill in'


def test_a_file_in_another_encoding(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes('title = "x"\nnotes = "Motor für den Bus"\n'.encode("latin-1"))
    assert refusal(path) == f"{path}: line 2 is not UTF-8: save the job file as UTF-8"


def test_a_name_that_no_file_can_have() -> None:
    assert refusal(Path("a\0b.toml")) == (
        "a\0b.toml: a file name cannot contain a null character: take it out of the name"
    )


def test_a_byte_order_mark_does_no_harm(tmp_path: Path) -> None:
    shutil.copytree(VALID, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "ve_job.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_job(path).title == "Invented: a 2.0 map for a 2.4"


def test_sources_are_the_job_and_its_tables_with_their_hashes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(VALID)
    job = load_job("boosted_in_psi.toml")
    files = ["boosted_in_psi.toml", "ve_psi.tsv", "afr_psi.tsv"]
    assert [source.file for source in job.sources] == files
    hashes = [hashlib.sha256((VALID / name).read_bytes()).hexdigest() for name in files]
    assert [source.sha256 for source in job.sources] == hashes


def test_a_job_from_a_mapping_has_no_job_file_among_its_sources() -> None:
    data = tomllib.loads((VALID / "ve_job.toml").read_text(encoding="utf-8"))
    job = build_job(data, VALID, "somewhere/van.toml")
    assert [source.file for source in job.sources] == ["ve.csv"]
    assert job.stem == "van"


def test_the_title_is_the_stem_where_there_is_none() -> None:
    job = load_job(VALID / "cancelled.toml")
    assert (job.title, job.stem) == ("Invented: what cancels is left out", "cancelled")
    assert load_job(VALID / "unknowns.toml").title == "unknowns"


def test_a_table_from_standard_input() -> None:
    data = tomllib.loads((VALID / "ve_job.toml").read_text(encoding="utf-8"))
    data["donor"]["tables"]["fuel"]["file"] = "-"
    job = build_job(data, Path("/nowhere"), "job.toml", stdin=io.BytesIO((VALID / "ve.csv").read_bytes()))
    np.testing.assert_array_equal(job.donor.table.values, load_job(VALID / "ve_job.toml").donor.table.values)
    assert [source.file for source in job.sources] == ["standard input"]


def test_standard_input_gives_one_table_only() -> None:
    data = tomllib.loads((VALID / "ve_job.toml").read_text(encoding="utf-8"))
    data["donor"]["tables"]["fuel"] |= {"file": "-", "lambda": "-"}
    with pytest.raises(InputError) as caught:
        build_job(data, VALID, "job.toml", stdin=io.BytesIO((VALID / "ve.csv").read_bytes()))
    assert str(caught.value) == (
        'job.toml: donor.tables.fuel.lambda: "-" is standard input, and another table is already read from it'
    )


def test_loading_twice_gives_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(VALID)
    one, two = load_job("boosted_in_psi.toml"), load_job("boosted_in_psi.toml")
    assert list(one.inputs) == list(two.inputs)
    assert one.assumed == two.assumed
    assert one.declared == two.declared


@pytest.mark.pin
def test_a_job_loads_fast(tmp_path: Path) -> None:
    # About 10 ms on the machine it was written on; the bound leaves room for a slow and busy one.
    rows = [",".join(map(str, (20 + 5 * i, *(round(50 + i + 0.1 * j, 1) for j in range(16))))) for i in range(16)]
    head = ",".join(["load", *(str(600 + 400 * j) for j in range(16))])
    (tmp_path / "ve.csv").write_text("\n".join([head, *rows, ""]), encoding="utf-8")
    shutil.copy(VALID / "ve_job.toml", tmp_path)
    load_job(tmp_path / "ve_job.toml")
    times = []
    for _ in range(5):
        start = time.perf_counter()
        assert load_job(tmp_path / "ve_job.toml").rpm.size == 16
        times.append(time.perf_counter() - start)
    assert min(times) < 0.25
