"""The JSON Schemas of the outputs say every key that is written, and no other; jsonschema is the judge."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from basemap.adaptation.pipeline import adapt
from basemap.cli.demo import FIRST_DRIVE, contents
from basemap.model.result import Result
from basemap.report.json_file import as_json
from basemap.report.json_text import to_text
from basemap.report.learnt_schema import learnt_schema
from basemap.report.result_schema import result_schema
from tests.builders.results import adapted as adapted_as_it_stands
from tests.builders.round_numbers import CRANK, CRANK_CSV, job_with
from tests.builders.with_settings import adapted
from tests.cli.program import ROOT, SAMPLES, run

RESULT, LEARNT = Draft202012Validator(result_schema()), Draft202012Validator(learnt_schema())
JOBS = sorted([*SAMPLES.rglob("*.toml"), *(ROOT / "tests/jobs/valid").glob("*.toml")])
TOLD = """
[target.injectors.added_time]
open = ["0.5 ms", "1.5 ms"]
time = ["0.3 ms", "0 ms"]
[target.settings]
added_time = true
[target.settings.fields]
static_flow = { maximum = 255 }
"""
OWN_POINTS = """
[donor.tables.goal]
file = "goal.csv"
quantity = "lambda"
load = "manifold pressure"
load_unit = "kPa"
[target.tables.goal]
load_points = [40, 90]
rpm_points = [1000, 5000]
[target.tables.crank]
axis_points = [-40, 0, 80]
"""
GOAL_CSV = "kPa,1000,3000,6000\n30,1.00,1.00,0.98\n100,0.90,0.88,0.86\n"


def other_jobs(folder: Path) -> Iterator[Result]:
    """Jobs that have what no sample has: points of their own, fields that end, a time to add."""
    yield adapted(folder, TOLD)
    yield adapt(job_with(folder, CRANK + OWN_POINTS, crank=CRANK_CSV, goal=GOAL_CSV))


def written(result: Result) -> dict[str, Any]:
    """The JSON of a result, as another program reads it."""
    found: dict[str, Any] = json.loads(to_text(as_json(result)))
    return found


def wrong(validator: Any, content: object) -> list[str]:
    return [f"{error.json_path}: {error.message[:200]}" for error in validator.iter_errors(thinned(content))]


def thinned(content: Any) -> Any:
    """The content with one element of every kind in each list: whatever else is in it stays as it is.

    All elements of a list are held to one schema, which judges by `kind` alone; and the library takes a fifth of a
    millisecond for each.
    """
    if isinstance(content, dict):
        return {key: thinned(inner) for key, inner in content.items()}
    if not isinstance(content, list):
        return content
    return list({kind(one): one for one in map(thinned, content)}.values())


def kind(content: Any) -> object:
    """All of some content that the keywords `JUDGED_BY` look at: its keys and types, and the words that are listed."""
    if isinstance(content, dict):
        return frozenset((key, kind(inner)) for key, inner in content.items())
    if isinstance(content, list):
        return list, frozenset(map(kind, content))
    if isinstance(content, float):
        return float, content.is_integer()  # JSON Schema takes 1.0 for an integer
    return type(content), content if content in LISTED or isinstance(content, bool) else None


JUDGED_BY = {"type", "properties", "required", "additionalProperties", "items", "anyOf", "enum", "const"}
SAID_ONLY = {"$schema", "title", "description", "format"}


def keywords(schema: Any) -> Iterator[tuple[str, Any]]:
    """Every keyword of a schema, with what it is given."""
    yield from schema.items()
    inner = [*schema.get("properties", {}).values(), schema.get("items"), schema.get("additionalProperties")]
    for one in (*inner, *schema.get("anyOf", [])):
        if isinstance(one, dict):
            yield from keywords(one)


KEYWORDS = [*keywords(RESULT.schema), *keywords(LEARNT.schema)]
LISTED = {one for word, given in KEYWORDS for one in ({"enum": given, "const": [given]}.get(word, []))}


def test_no_keyword_of_the_schemas_looks_at_more_than_the_kind() -> None:
    assert {word for word, _ in KEYWORDS} <= JUDGED_BY | SAID_ONLY


def test_what_is_wrong_in_a_long_list_is_found() -> None:
    for wrong_one in (None, "1.0", -1, True, [1.0]):
        content = written(adapted_as_it_stands(ROOT / "tests/jobs/valid/ve_job.toml"))
        content["tables"]["fuel"]["duty"][1][1] = wrong_one
        whole = [error.message for error in RESULT.iter_errors(content)]
        assert [line.split(": ", 1)[1] for line in wrong(RESULT, content)] == [message[:200] for message in whole]


def named(schema: Any) -> Iterator[str]:
    """Every key that a schema names."""
    for key, inner in schema.get("properties", {}).items():
        yield key
        yield from named(inner)
    for inner in (schema.get("items"), schema.get("additionalProperties"), *schema.get("anyOf", [])):
        if isinstance(inner, dict):
            yield from named(inner)


def keys(content: Any) -> Iterator[str]:
    """Every key that is written."""
    if isinstance(content, dict):
        yield from content
    for inner in content.values() if isinstance(content, dict) else content if isinstance(content, list) else ():
        yield from keys(inner)


@pytest.mark.parametrize("validator", [RESULT, LEARNT], ids=["result", "learnt"])
def test_it_is_a_json_schema(validator: Any) -> None:
    Draft202012Validator.check_schema(validator.schema)


def test_every_job_fits_and_every_key_of_the_schema_is_written_by_one(tmp_path: Path) -> None:
    seen: set[str] = set()
    for path in JOBS:
        content = written(adapted_as_it_stands(path))
        assert wrong(RESULT, content) == [], path.name
        seen.update(keys(content))
    for result in other_jobs(tmp_path):
        content = written(result)
        assert wrong(RESULT, content) == []
        seen.update(keys(content))
    assert set(named(RESULT.schema)) - seen == set()


def test_a_key_that_the_schema_does_not_have_is_refused() -> None:
    content = written(adapted_as_it_stands(SAMPLES / "ferry_van.toml"))
    content["tables"]["fuel"]["no_such_key"] = content["findings"][0]["no_such_key"] = content["no_such_key"] = 1
    assert len(wrong(RESULT, content)) == 3


def test_a_learnt_drive_fits(tmp_path: Path) -> None:
    for path in SAMPLES.glob("ferry_van*"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    (tmp_path / FIRST_DRIVE).write_bytes(contents((FIRST_DRIVE,))[FIRST_DRIVE])
    content = json.loads(run("learn", tmp_path / "ferry_van.toml", tmp_path / FIRST_DRIVE, "--json").stdout)
    assert wrong(LEARNT, content) == []
    assert set(named(LEARNT.schema)) - set(keys(content)) == set()


def test_the_command_prints_them() -> None:
    assert json.loads(run("schema", "--result").stdout) == result_schema()
    assert json.loads(run("schema", "--learnt").stdout) == learnt_schema()
    both = run("schema", "--result", "--learnt")
    assert (both.status, both.stdout) == (2, "")
    assert both.stderr == "basemap: --result and --learnt are two schemas: ask for one at a time\n"
