"""The blank template: it loads once filled in, and every line that may be taken into use does."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from basemap.errors import InputError
from basemap.jobfile import schema, table_sections
from basemap.jobfile.load import build_job
from basemap.jobfile.template import blank_template, blanks
from tests.builders.files import FILE, VALID

TEMPLATE = blank_template()
FILLED = {
    "title": '"Invented"',
    "donor.engine.displacement": '"1998 cc"',
    "donor.engine.cylinders": "4",
    "donor.fuel.regulator": '"manifold"',
    "donor.tables.fuel.file": '"ve.csv"',
    "donor.tables.fuel.quantity": '"volumetric efficiency"',
    "donor.tables.fuel.load_unit": '"kPa"',
    "donor.tables.fuel.lambda": "1.0",
    "target.engine.displacement": '"2393 cc"',
    "target.engine.cylinders": "4",
    "target.injectors.static_flow": '"650 cc/min"',
    "target.injectors.rated_pressure": '"3.0 bar"',
    "target.injectors.dead_time.battery": '["12 V", "14 V"]',
    "target.injectors.dead_time.time": '["1.42 ms", "1.02 ms"]',
    "target.fuel.rail_pressure": '"3.5 bar"',
    "target.fuel.regulator": '"manifold"',
    "target.fuel.blend": '"E85"',
}
OPTIONAL = re.compile(r"# (\w+ = .*)|# \[(.*)\]")
# With the donor's injectors and fuel every optional line makes sense.
DONOR = {
    "injectors": {"static_flow": "280 cc/min", "rated_pressure": "3.0 bar"},
    "fuel": {"blend": "E5", "rail_pressure": "3.0 bar", "regulator": "manifold"},
}
INSTEAD_OF = {"parts": "blend"}


def filled(text: str) -> str:
    """The template with every blank filled in."""
    lines, section = [], ""
    for line in text.splitlines():
        if line.startswith("["):
            section = line.split("]")[0].strip("[")
        if match := re.match(r'(\w+) = "\?"', line):
            key = f"{section}.{match[1]}" if section else match[1]
            line = f"{match[1]} = {FILLED[key]}" + line[match.end() :]
        lines.append(line)
    return "\n".join(lines) + "\n"


def optional_lines() -> list[tuple[str, str]]:
    """Section and content of every line that may be taken into use."""
    found, section = [], ""
    for line in TEMPLATE.splitlines():
        match = OPTIONAL.match(line)
        if line.startswith("["):
            section = line.split("]")[0].strip("[")
        elif match and match[2]:
            section = match[2]
        elif match:
            found.append((section, match[1]))
    return found


def test_the_blanks_are_those_that_the_test_fills() -> None:
    assert list(blanks(tomllib.loads(TEMPLATE))) == list(FILLED)


def test_unfilled_it_is_refused_by_its_first_blank() -> None:
    with pytest.raises(InputError) as caught:
        build_job(tomllib.loads(TEMPLATE), VALID, FILE)
    assert str(caught.value) == "job.toml: title: is still blank, as in the template: fill it in"


def test_filled_in_it_loads() -> None:
    job = build_job(tomllib.loads(filled(TEMPLATE)), VALID, FILE)
    assert job.title == "Invented"
    assert job.target.hardware.engine.displacement_m3 == pytest.approx(2.393e-3)
    assert not job.donor.flow_known
    assert not job.donor.fuel_known


TOGETHER = ("donor.tables.crank", "target.tables.crank", "donor.sensors.map", "target.sensors.map")
"""Sections that are taken into use as a whole."""
SINGLE = [(section, line) for section, line in optional_lines() if section not in TOGETHER]


@pytest.mark.parametrize("sections", [TOGETHER[:1], TOGETHER[:2], TOGETHER[2:3], TOGETHER[2:]])
def test_each_optional_section_can_be_taken_into_use(sections: tuple[str, ...], tmp_path: Path) -> None:
    (tmp_path / "ve.csv").write_bytes((VALID / "ve.csv").read_bytes())
    (tmp_path / "crank.csv").write_text("coolant,ms\n-20,16\n20,9\n80,4\n", encoding="utf-8")
    added = [
        f"[{section}]\n" + "\n".join(line for at, line in optional_lines() if at == section) for section in sections
    ]
    data: dict[str, Any] = tomllib.loads("\n".join((filled(TEMPLATE), *added)))
    data["donor"] |= DONOR
    data["donor"]["injectors"] |= {"dead_time": {"battery": ["8 V", "14 V"], "time": ["2.4 ms", "0.85 ms"]}}
    job = build_job(data, tmp_path, FILE)
    for section in sections:
        keys = {key for at, line in optional_lines() if at == section for key in tomllib.loads(line)}
        assert {f"{section}.{key}" for key in keys} <= job.declared


def test_each_optional_line_can_be_taken_into_use() -> None:
    assert len(SINGLE) > 90
    assert [found for section, line in SINGLE for found in undeclared(section, line)] == []


def undeclared(section: str, line: str) -> list[str]:
    """Keys of a line that a job with it does not declare, or what refuses the job."""
    data: dict[str, Any] = tomllib.loads(filled(TEMPLATE))
    data["donor"] |= DONOR
    data["donor"]["injectors"] = DONOR["injectors"] | {
        "dead_time": {"battery": ["10 V", "12 V", "14 V"], "time": ["1.75 ms", "1.20 ms", "0.85 ms"]}
    }
    place = data
    for part in section.split("."):
        place[part] = dict(place.get(part, {}))
        place = place[part]
    added = tomllib.loads(line)
    place.update(added)
    for key in added:
        place.pop(INSTEAD_OF.get(key, ""), None)
    try:
        declared = build_job(data, VALID, FILE).declared
    except InputError as error:
        return [f"{section}: {line}: {error}"]
    found = {key for key in added for one in declared if f"{one}.".startswith(f"{section}.{key}.")}
    return [f"{section}.{key}" for key in added if key not in found]


def test_the_template_names_every_key_of_its_sections() -> None:
    """But for those of later versions, and those that few need and the guide has."""
    left_out = {
        "notes", "basis", "density_at", "stoichiometric", "density", "fuel_density", "reference_pressure",
        "row_pressure",
    }  # fmt: skip
    sections = (
        schema.ConditionsSection,
        schema.TargetEngine,
        schema.InjectorsSection,
        schema.DeadTimeSection,
        schema.FuelSection,
        schema.Sensor,
        schema.TargetSettings,
        table_sections.DonorTable,
    )
    keys = {key for section in sections for key in schema.keys_of(section)}
    missing = {key for key in keys - left_out if not re.search(rf"\b{key}\b", TEMPLATE)}
    assert missing == set()
