"""The JSON Schema of the job file says of a whole file what the reader says of it."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Any

from jsonschema import Draft202012Validator

from basemap.errors import InputError
from basemap.jobfile.json_schema import description, job_file_schema
from basemap.jobfile.load import parsed_file
from tests.cli.program import ROOT, SAMPLES, run

SOUND = sorted([*SAMPLES.rglob("*.toml"), *(ROOT / "tests/jobs/valid").glob("*.toml")])


def parsed(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def parsed_where_it_is_toml(paths: Iterable[Path]) -> dict[Path, dict[str, Any]]:
    found = {}
    for path in paths:
        with suppress(ValueError):
            found[path] = parsed(path)
    return found


@cache
def schema() -> dict[str, Any]:
    return job_file_schema()


@cache
def validator() -> Any:
    return Draft202012Validator(schema())


@cache
def invalid_jobs() -> dict[Path, dict[str, Any]]:
    return parsed_where_it_is_toml(sorted((ROOT / "tests/jobs/invalid").glob("*.toml")))


@cache
def problem_of(path: Path) -> str:
    """What the reader has against the keys of a job."""
    try:
        parsed_file(invalid_jobs()[path], str(path))
    except InputError as error:
        return str(error)
    return ""


def with_an_unknown_key(job: dict[str, Any], place: str = "") -> dict[str, dict[str, Any]]:
    """The job with a key that no section has, in each of its sections in turn."""
    # A number cannot be the table, the sensor or the part of a blend that is named by the user.
    found = {place: {**job, "no_such_key": 1}} if place.rpartition(".")[2] not in ("parts", "columns") else {}
    for key, value in job.items():
        if isinstance(value, dict):
            inner = with_an_unknown_key(value, f"{place}.{key}")
            found |= {where: {**job, key: changed} for where, changed in inner.items()}
    return found


def test_it_is_a_json_schema() -> None:
    Draft202012Validator.check_schema(schema())


def test_every_sound_job_fits() -> None:
    assert len(SOUND) > 40
    assert [(path.stem, error.message) for path in SOUND for error in validator().iter_errors(parsed(path))] == []


def test_an_unknown_key_in_any_section_does_not() -> None:
    jobs = {(path.stem, place): job for path in SOUND for place, job in with_an_unknown_key(parsed(path)).items()}
    assert len(jobs) > 400
    assert [place for place, job in jobs.items() if validator().is_valid(job)] == []


def test_what_it_refuses_the_reader_refuses() -> None:
    refused = [path for path, job in invalid_jobs().items() if not validator().is_valid(job)]
    assert len(refused) > 30
    assert [path.stem for path in refused if not problem_of(path)] == []


def test_what_the_reader_calls_an_unknown_key_it_refuses() -> None:
    unknown = [path for path in invalid_jobs() if "unknown key" in problem_of(path)]
    assert unknown
    assert [path.stem for path in unknown if validator().is_valid(invalid_jobs()[path])] == []


def test_a_key_is_described_with_its_range_its_help_and_what_is_put_in() -> None:
    assert description(("target", "injectors", "rated_pressure")) == (
        'Rated at: 0.3 bar to 15 bar. The pressure for that flow; "unknown" stands for 3 bar. '
        "Unknown: 3.0 bar ± 0.5 bar (the usual rating pressure)."
    )
    rated = schema()["$defs"]["InjectorsSection"]["properties"]["rated_pressure"]
    assert rated["description"] == description(("donor", "injectors", "rated_pressure"))


def test_the_command_prints_it() -> None:
    ended = run("schema")
    assert (ended.status, ended.stderr) == (0, "")
    assert json.loads(ended.stdout) == schema()
