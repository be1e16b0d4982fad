"""Every quantity of the job file stands in the registry of inputs once, and the schema takes exactly what that says."""

from __future__ import annotations

import ast
import dataclasses
import math
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from basemap.adaptation.quantities.choices import CHOICES
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity
from basemap.adaptation.quantities.registry import ALL, DEFAULTS, QUANTITIES, SPREADS
from basemap.adaptation.quantities.units import UNITS
from basemap.jobfile import schema, table_sections
from basemap.jobfile.provenance import default_quantity
from basemap.jobfile.quantities import Measured
from basemap.model.installation import Engine
from basemap.model.job import SIDES
from tests.architecture.source_files import PACKAGE
from tests.builders.cases import each
from tests.builders.files import VALID, valid

# Decimals are no quantity of an engine: like minimum, maximum, step and the points of an axis they say how the cells of
# the user's own table are written.
NOT_OF_THE_ENGINE = ("decimals",)
SECOND = {
    Kind.SPEED_AT_PRESSURE: " @ 35 kPa",
    Kind.POWER_AT_SPEED: " @ 6000 rpm",
    Kind.FLOW_AT_PRESSURE: " @ 3 bar",
    Kind.TORQUE_AT_SPEED: " @ 4000 rpm",
}


def holds(annotation: object, wanted: type) -> bool:
    return annotation is wanted or any(holds(part, wanted) for part in getattr(annotation, "__args__", ()))


def keys(section: type[BaseModel], place: tuple[str, ...] = ()) -> Iterator[tuple[str, type[BaseModel], object]]:
    """Key without its side, section and type of every number with a meaning of its own."""
    for name, field in section.model_fields.items():
        key = field.alias or name
        if key not in NOT_OF_THE_ENGINE and (holds(field.annotation, Measured) or holds(field.annotation, int)):
            path = (*place, key)
            yield ".".join(path[1:] if path[0] in ("donor", "target") else path), section, field.annotation
        leads_to = schema.keys_of(section)[key]
        if leads_to is not None:
            yield from keys(leads_to, (*place, key, "NAME") if key == "sensors" else (*place, key))
    if section in table_sections.COMPANIONS:
        yield from keys(table_sections.COMPANIONS[section], (*place, "NAME"))


PLACES = {(key, section): annotation for key, section, annotation in keys(schema.JobFile)}


def test_every_quantity_of_the_job_file_stands_in_the_registry_once() -> None:
    assert {key for key, _ in PLACES} == set(QUANTITIES)
    assert [key for key, count in Counter(quantity.key for quantity in ALL).items() if count > 1] == []


def test_no_name_stands_for_two_defaults_or_two_spreads() -> None:
    assert len(DEFAULTS) == sum(len(quantity.defaults) for quantity in ALL) + len(CHOICES)
    assert len(SPREADS) == sum(len(quantity.spreads) for quantity in ALL)


def written(quantity: Quantity, annotation: object, end: str, beyond: int) -> Any:
    """One end of a range as a job file has it, or what lies a little beyond."""
    number, _, unit = end.partition(" ")
    if holds(annotation, int):
        return int(number) + beyond
    text = f"{float(number) + beyond * 1e-6 * max(1.0, abs(float(number))):.9g} {unit}".strip()
    if quantity.key.endswith(".basis"):
        return float(text)  # a text stands for where the numbers come from
    text += SECOND.get(quantity.range.kind, "")
    if quantity.key.endswith("_range"):
        return f"{text} to 20 degC"
    if quantity.key == "fuel.parts":
        return {"petrol": text}
    return [text] if holds(annotation, tuple) or "tuple" in str(annotation) else text


def refused(section: type[BaseModel], name: str, value: Any) -> str:
    """What the schema says of a value; nothing where it takes it."""
    try:
        section.model_validate({name: value})
    except ValidationError as error:
        return str(error.errors()[0]["msg"])
    return ""


def test_the_schema_takes_what_lies_between_both_ends_and_no_more() -> None:
    wrong = []
    for (key, section), annotation in PLACES.items():
        quantity, name = QUANTITIES[key], key.rpartition(".")[2]
        for within in (quantity.range, *([quantity.by_mass] if quantity.by_mass else [])):
            for end, out in ((within.low, -1), (within.high, 1)):
                at_end, beyond = (refused(section, name, written(quantity, annotation, end, by)) for by in (0, out))
                rail_too_high = quantity.range.kind is Kind.RAIL_PRESSURE and "direct injection" in beyond
                if at_end or not (f"{within.low} to {within.high}" in beyond or rail_too_high):
                    wrong.append((key, section.__name__, end, at_end, beyond))
    assert wrong == []


@each("name", [path.stem for path in sorted(VALID.glob("*.toml"))])
def test_what_a_job_file_states_is_where_the_registry_says(name: str) -> None:
    job = valid(name)
    for side in SIDES:
        for quantity in ALL:
            stated = job.inputs.get(f"{side}.{quantity.key}")
            if (
                not quantity.path
                or stated is None
                or math.isnan(stated.value)
                or f"{side}.fuel.density_at" in job.inputs
            ):
                continue
            assert quantity.on(job.side(side)) == pytest.approx(stated.value, rel=1e-12), quantity.key


def test_an_engine_built_in_python_has_the_defaults_of_the_registry() -> None:
    built = {field.name: field.default for field in dataclasses.fields(Engine)}
    for name, attribute in (("idle", "idle_rpm"), ("cranking", "cranking_rpm"), ("coldest start", "coldest_start_k")):
        put_in = default_quantity(DEFAULTS[name])
        assert put_in is not None
        assert built[attribute] == put_in.value
    idle = default_quantity(DEFAULTS["idle"])
    assert idle is not None
    assert idle.second is not None
    assert built["idle_pressure_pa"] == idle.second.value


CONSUMERS = (
    "jobfile/fields.py", "cli/questions.py", "belief/inputs.py", "belief/air_inputs.py",
    "workbook/inputs/inputs.py", "workbook/inputs/ecu_inputs.py", "workbook/inputs/fuel_inputs.py",
)  # fmt: skip
A_QUANTITY = re.compile(rf"-?[0-9.]+ ({'|'.join(UNITS)})(/({'|'.join(UNITS)}))?")
ENDS = {"low", "high", "limits", "half_width", "default"}


@each("path", CONSUMERS)
def test_no_consumer_has_a_number_of_its_own(path: str) -> None:
    tree = ast.parse((PACKAGE / path).read_text(encoding="utf-8"))
    texts = [node.value for node in ast.walk(tree) if isinstance(node, ast.Constant) and isinstance(node.value, str)]
    assert [text for text in texts if A_QUANTITY.fullmatch(text)] == []
    given = [node.value for node in ast.walk(tree) if isinstance(node, ast.keyword) and node.arg in ENDS]
    numbers = [part for value in given for part in ast.walk(value) if isinstance(part, ast.Constant)]
    assert [part.value for part in numbers if isinstance(part.value, int | float) and part.value is not True] == []


@pytest.mark.law
def test_a_quantity_that_is_moved_is_read_back_and_moves_no_other() -> None:
    side = valid("two_stroke").target
    with_path = [quantity for quantity in ALL if quantity.path and quantity.section not in ("settings", "tables")]
    here = [quantity for quantity in with_path if quantity.on(side) is not None]
    assert len(here) > 15
    for quantity in here:
        moved = replace(side, hardware=quantity.moved(side.hardware, lambda value: value * 1.25))
        assert quantity.on(moved) == 1.25 * (quantity.on(side) or math.nan)
        others = [one for one in here if one.path != quantity.path]
        assert [one.on(moved) for one in others] == [one.on(side) for one in others]
