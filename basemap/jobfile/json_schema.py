"""The job file as JSON Schema, by which an editor completes its keys and shows what each is."""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from pydantic import BaseModel
from pydantic.json_schema import GenerateJsonSchema, models_json_schema

from basemap.adaptation.quantities.quantity import Quantity
from basemap.adaptation.quantities.registry import DEFAULTS, QUANTITIES
from basemap.jobfile.drives import LEARNT_KEYS, LOG_KEYS
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.schema import Donor, JobFile, Target
from basemap.jobfile.table_sections import COMPANIONS
from basemap.jobfile.template import blank_template
from basemap.model.job import SIDES

TITLE = "Job file of basemap"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
_DEFINITION = "#/$defs/{model}"
_HEADING = re.compile(r"(?:# )?\[([\w.]+)\]")
_COMMENTED = re.compile(r"(?:# )?(\w+) = .*?\s# (?P<comment>.+)")


class _AsToml(GenerateJsonSchema):
    """JSON Schema for TOML, which has no null: a key is stated or left out. A value may fit several alternatives."""

    def nullable_schema(self, schema: Any) -> dict[str, Any]:
        """Only what may stand there."""
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: Any) -> dict[str, Any]:
        """Without the default that says the key is left out."""
        return self.generate_inner(schema["schema"])

    def tagged_union_schema(self, schema: Any) -> dict[str, Any]:
        """Any of the branches."""
        found = super().tagged_union_schema(schema)
        found.pop("discriminator", None)
        return {"anyOf": found.pop("oneOf", []), **found}


@cache
def job_file_schema() -> dict[str, Any]:
    """The job file as JSON Schema, draft 2020-12, from the same models that read it; one for all, to be read only."""
    models: list[type[BaseModel]] = [JobFile, *COMPANIONS.values()]
    _, schema = models_json_schema(
        [(model, "validation") for model in models], schema_generator=_AsToml, ref_template=_DEFINITION
    )
    definitions: dict[str, Any] = schema["$defs"]
    for tables, further in COMPANIONS.items():
        definitions[tables.__name__]["additionalProperties"] = {"$ref": _DEFINITION.format(model=further.__name__)}
    for side in (Donor, Target):
        fuel = definitions[side.__name__]["properties"]["fuel"]
        definitions[side.__name__]["properties"]["fuel"] = {"anyOf": [fuel, {"const": UNKNOWN}]}
    _describe(definitions, JobFile.__name__, (), set())
    whole = definitions.pop(JobFile.__name__)
    for section, keys in (("log", LOG_KEYS), ("learnt", LEARNT_KEYS)):
        whole["properties"][section] |= {"properties": {key: {} for key in keys}, "additionalProperties": False}
    return {"$schema": DIALECT, **whole, "title": TITLE, "$defs": definitions}


def _describe(definitions: dict[str, Any], name: str, path: tuple[str, ...], seen: set[str]) -> None:
    """Describe every key of a section and of its subsections. A section that both sides have is described once."""
    if name in seen:
        return
    seen.add(name)
    definition = definitions[name]
    definition.pop("title", None)
    definition["description"] = definition.get("description", "").replace("``", "")
    for key, entry in definition.get("properties", {}).items():
        entry.pop("title", None)
        if words := description((*path, key)):
            entry["description"] = words
        for inner in _references(entry):
            _describe(definitions, inner, (*path, key, "NAME") if key == "sensors" else (*path, key), seen)
    if isinstance(further := definition.get("additionalProperties"), dict):
        for inner in _references(further):
            _describe(definitions, inner, (*path, "NAME"), seen)


def _references(entry: Any) -> list[str]:
    """Names of the sections that an entry leads to."""
    if isinstance(entry, list):
        return [name for part in entry for name in _references(part)]
    if not isinstance(entry, dict):
        return []
    own = [str(entry["$ref"]).rpartition("/")[2]] if "$ref" in entry else []
    return own + [name for part in entry.values() for name in _references(part)]


def description(path: tuple[str, ...]) -> str:
    """What a key is, its range and its default, in sentences; empty if there is nothing to say."""
    key = ".".join(path[1:] if path[0] in SIDES else path)
    quantity = QUANTITIES.get(key)
    parts = [] if quantity is None else [_of_quantity(quantity)]
    parts += [_comments()[key]] if key in _comments() else []
    parts += [
        f"{'Left out' if one.when == 'left out' else 'Unknown'}: {one.text} ({one.why})."
        for one in DEFAULTS.values()
        if key and key in (one.key, one.key.removeprefix("donor.").removeprefix("target."))
    ]
    return " ".join(part if part.endswith((".", ")")) else f"{part}." for part in parts)


def _of_quantity(quantity: Quantity) -> str:
    within = quantity.range
    words = quantity.words or str(within.kind).capitalize()
    return f"{words}: {within.low} to {within.high}."


@cache
def _comments() -> dict[str, str]:
    """Comments of the template by key, its side left out."""
    found: dict[str, str] = {}
    section = ""
    for line in blank_template().splitlines():
        if heading := _HEADING.match(line):
            section = heading[1].removeprefix("donor").removeprefix("target").removeprefix(".")
        elif match := _COMMENTED.fullmatch(line):
            found.setdefault(f"{section}.{match[1]}".removeprefix("."), _sentence(match["comment"]))
    return found


def _sentence(comment: str) -> str:
    return f"{comment[:1].upper()}{comment[1:]}"
