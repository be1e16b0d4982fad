"""What a job gives depends on the job alone: not on the order in which it is written, nor on the process."""

from __future__ import annotations

import json
import re
import tomllib
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from basemap.adaptation.pipeline import adapt
from basemap.jobfile.load import build_job
from basemap.report.json_file import as_json
from tests.builders.files import VALID
from tests.builders.results import adapted
from tests.cli.program import PLAIN, SAMPLES, run, run_process

JOBS = [*sorted(SAMPLES.glob("*.toml")), *sorted(VALID.glob("*.toml"))]


def backwards(value: Any) -> Any:
    """Sections and keys in the opposite order; lists as they are."""
    if isinstance(value, dict):
        return {key: backwards(value[key]) for key in reversed(value)}
    return value


def in_one_order(value: Any) -> Any:
    """A JSON value with what stands in the order of the file sorted: lists of things, and the words of a sentence."""
    if isinstance(value, str):
        return sorted(word.strip(".,:;()") for word in value.split())
    if isinstance(value, dict):
        return {key: in_one_order(inner) for key, inner in value.items()}
    if isinstance(value, list) and any(isinstance(inner, dict | str) for inner in value):
        return sorted(map(in_one_order, value), key=lambda inner: json.dumps(inner, sort_keys=True))
    return value


@pytest.mark.law
@pytest.mark.parametrize("path", JOBS, ids=lambda path: path.stem)
def test_the_order_of_sections_and_keys_changes_nothing_else(path: Path) -> None:
    data = tomllib.loads(path.read_text(encoding="utf-8"))
    told = as_json(adapted(path))
    again = as_json(adapt(build_job(backwards(data), path.parent, path.name)))
    del told["sources"][0]  # the job file itself, which the other was not read from
    assert again == told or in_one_order(again) == in_one_order(told)


def undated(text: str) -> str:
    """The text without today's date."""
    return re.sub(re.escape(datetime.now(UTC).date().isoformat()), "DATE", text)


def written(folder: Path) -> dict[str, str]:
    """Everything in a folder by name, the parts of a workbook each; without dates."""
    found: dict[str, str] = {}
    for path in sorted(folder.iterdir()):
        if path.suffix == ".xlsx":
            with zipfile.ZipFile(path) as archive:
                # That part holds the time of day.
                parts = {name: archive.read(name) for name in archive.namelist() if name != "docProps/core.xml"}
            found |= {f"{path.name} {name}": undated(content.decode("latin-1")) for name, content in parts.items()}
        else:
            found[path.name] = undated(path.read_bytes().decode("latin-1"))
    return found


@pytest.mark.law
def test_a_run_again_in_another_process_writes_the_same_bytes_but_for_the_date(tmp_path: Path) -> None:
    """Neither the order of sets, which a process draws, nor what was run before it shows in what is written."""
    job = SAMPLES / "ferry_van.toml"
    assert run("adapt", VALID / "ve_job.toml", "--out", tmp_path / "before").status == 0
    ended = run("adapt", job, "--out", tmp_path / "here")
    other = run_process("adapt", job, "--out", tmp_path / "there", environment={**PLAIN, "PYTHONHASHSEED": "20261130"})
    assert (other.status, other.stderr) == (ended.status, ended.stderr)
    # Lines are broken where the folder's name ends.
    said, said_there = ("".join(one.stdout.split()) for one in (ended, other))
    assert said_there.replace("/there/", "/here/") == said
    here, there = written(tmp_path / "here"), written(tmp_path / "there")
    assert here.keys() == there.keys()
    assert len(here) > 20
    assert [name for name in here if here[name] != there[name]] == []
