"""Every quantity of the job file stands in the registry of inputs once, and the schema takes exactly what that says."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import BaseModel, ValidationError

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.quantity import Quantity
from basemap.adaptation.quantities.registry import ALL, QUANTITIES
from basemap.jobfile import schema
from basemap.jobfile.quantities import Measured

# Decimals are no quantity of an engine: like minimum, maximum, step and the points of an axis they say how the cells of
# the user's own table are written.
NOT_OF_THE_ENGINE = ("decimals",)
SECOND = {Kind.SPEED_AT_PRESSURE: " @ 35 kPa", Kind.POWER_AT_SPEED: " @ 6000 rpm"}


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
    if section in schema.COMPANIONS:
        yield from keys(schema.COMPANIONS[section], (*place, "NAME"))


PLACES = {(key, section): annotation for key, section, annotation in keys(schema.JobFile)}


def test_every_quantity_of_the_job_file_stands_in_the_registry_once() -> None:
    assert {key for key, _ in PLACES} == set(QUANTITIES)
    assert [key for key, count in Counter(quantity.key for quantity in ALL).items() if count > 1] == []


def written(quantity: Quantity, annotation: object, end: str, beyond: int) -> Any:
    """One end of a range as a job file has it, or what lies a little beyond."""
    number, _, unit = end.partition(" ")
    if holds(annotation, int):
        return int(number) + beyond
    text = f"{float(number) + beyond * 1e-6 * max(1.0, abs(float(number))):.9g} {unit}".strip()
    if quantity.key.endswith(".basis"):
        return float(text)  # a text stands for where the numbers come from
    text += SECOND.get(quantity.range.kind, "")
    if quantity.key == "fuel.parts":
        return {"petrol": text}
    return [text] if holds(annotation, tuple) or "tuple" in str(annotation) else text


@pytest.mark.parametrize(("key", "section"), PLACES, ids=lambda part: part if isinstance(part, str) else part.__name__)
def test_the_schema_takes_what_lies_between_both_ends_and_no_more(key: str, section: type[BaseModel]) -> None:
    quantity, annotation, name = QUANTITIES[key], PLACES[key, section], key.rpartition(".")[2]
    for within in (quantity.range, *([quantity.by_mass] if quantity.by_mass else [])):
        for end, out in ((within.low, -1), (within.high, 1)):
            section.model_validate({name: written(quantity, annotation, end, 0)})
            with pytest.raises(ValidationError) as refused:
                section.model_validate({name: written(quantity, annotation, end, out)})
            said = refused.value.errors()[0]["msg"]
            rail_too_high = quantity.range.kind is Kind.RAIL_PRESSURE and "direct injection" in said
            assert f"{within.low} to {within.high}" in said or rail_too_high
