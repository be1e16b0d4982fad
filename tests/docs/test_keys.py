"""Every key of the job file is documented, and nothing is documented that is not a key."""

from __future__ import annotations

import dataclasses
import re
from itertools import chain

import pytest
from pydantic import BaseModel

from basemap.adaptation.quantities.registry import ALL
from basemap.adaptation.quantities.units import UNITS
from basemap.belief.spreads import EFFICIENCY
from basemap.jobfile import schema, table_sections
from basemap.model import further_table, injectors, installation, sensor, table
from basemap.model import job as model_job
from basemap.model.finding import Severity, Verdict
from basemap.model.installation import DonorState
from basemap.model.marks import Mark
from tests.docs.markdown import DOCS, read, table_under

GUIDE = read(DOCS / "user_guide.md")
PAGE = read(DOCS / "job_file.md")
GLOSSARY = read(DOCS / "glossary.md")

EVERYWHERE = {"notes", "basis"}

# Heading on the page → the section of the job file. A heading that stands for both sides has what the donor takes.
SECTIONS: dict[str, type[BaseModel]] = {
    "### At the top": schema.JobFile,
    "### [conditions]": schema.ConditionsSection,
    "### [donor]": schema.Donor,
    "### [target]": schema.Target,
    "### [donor.engine] and [target.engine]": schema.EngineSection,
    "### [donor.injectors] and [target.injectors]": schema.InjectorsSection,
    "### [donor.injectors.dead_time] and [target.injectors.dead_time]": schema.DeadTimeSection,
    "### [donor.injectors.bent_line] and [target.injectors.bent_line]": schema.BentLineSection,
    "### [donor.injectors.added_time] and [target.injectors.added_time]": schema.AddedTimeSection,
    "### [donor.fuel] and [target.fuel]": schema.FuelSection,
    "### [donor.settings] and [target.settings]": schema.SettingsSection,
    "### [target.settings.fields]": schema.SettingField,
    "### [donor.tables.fuel]": table_sections.DonorTable,
    "### [target.tables.fuel]": table_sections.TargetTable,
    "### [donor.sensors.NAME] and [target.sensors.NAME]": schema.Sensor,
    "### [donor.tables.NAME]": table_sections.DonorFurtherTable,
    "### [target.tables.NAME]": table_sections.TargetFurtherTable,
    "### [options]": schema.Options,
}
# A table in a section, below the line that leads to it.
FURTHER: dict[str, tuple[type[BaseModel], type[BaseModel] | None]] = {
    "In `[target.conditions]` also": (schema.TargetConditions, schema.ConditionsSection),
    "In `[target.fuel]` also": (schema.TargetFuel, schema.FuelSection),
    "In `[target.engine]` also": (schema.TargetEngine, schema.EngineSection),
    "In `[target.settings]` also": (schema.TargetSettings, schema.SettingsSection),
}
LAMBDA = '`lambda` as a section, such as `{ file = "afr.csv", quantity = "air/fuel ratio", basis = 14.7 }`:'


def words(cell: str) -> list[str]:
    """Words of a table cell that stand between backticks; `table_under` has taken the outer ones."""
    return re.split(r"`\s*,?\s*`", cell.strip("`"))


def documented(heading: str) -> set[str]:
    """Keys in the first column of the table under a heading."""
    return set(chain.from_iterable(words(row[0]) for row in table_under(PAGE, heading)))


def later() -> dict[str, set[str]]:
    """Keys that are refused for now, by section."""
    found: dict[str, set[str]] = {}
    for section, keys in table_under(PAGE, "### Not yet"):
        for one in re.split(r"`, `", section):
            found.setdefault(one, set()).update(words(keys))
    return found


LATER = set().union(*later().values())


@pytest.mark.parametrize("heading", SECTIONS)
def test_the_page_has_every_key(heading: str) -> None:
    refused = set().union(*(later().get(name, set()) for name in re.findall(r"\[(.*?)\]", heading)))
    assert documented(heading) - EVERYWHERE == set(schema.keys_of(SECTIONS[heading])) - EVERYWHERE - refused


@pytest.mark.parametrize("line", FURTHER)
def test_the_page_has_what_the_target_takes_besides(line: str) -> None:
    section, base = FURTHER[line]
    assert base is not None
    assert documented(line) == set(schema.keys_of(section)) - set(schema.keys_of(base))


def test_the_page_has_the_keys_of_an_intended_lambda() -> None:
    assert documented(LAMBDA) == set(schema.keys_of(table_sections.LambdaFile)) - EVERYWHERE - LATER | {"basis"}


def test_what_comes_later_is_a_known_key() -> None:
    for section, keys in later().items():
        model: type[BaseModel] = schema.JobFile
        for part in section.split("."):
            leads_to = table_sections.COMPANIONS[model] if part == "NAME" else schema.keys_of(model)[part]
            assert leads_to is not None, section
            model = leads_to
        assert keys <= set(schema.keys_of(model)), section


def all_keys(model: type[BaseModel] = schema.JobFile) -> set[str]:
    """Every key of the job file, whatever section it stands in."""
    found: set[str] = set()
    for key, leads_to in schema.keys_of(model).items():
        found |= {key} if leads_to is None else {key} | all_keys(leads_to)
    if model in table_sections.COMPANIONS:
        found |= all_keys(table_sections.COMPANIONS[model])
    return found


def test_the_glossary_has_every_key() -> None:
    assert {row[0] for row in table_under(GLOSSARY, "## Keys of the job file")} == all_keys()


def test_the_glossary_names_attributes_that_exist() -> None:
    classes = [
        one
        for module in (injectors, installation, table, model_job, further_table, sensor)
        for one in vars(module).values()
        if dataclasses.is_dataclass(one)
    ]
    known = {field.name for one in classes for field in dataclasses.fields(one)} | {"settings", "fuel"}
    rows = table_under(GLOSSARY, "## Keys of the job file")
    named = {name for row in rows if row[2] not in ("", "not yet") for name in row[2].replace("`", "").split()}
    assert named - known == set()


def test_the_glossary_names_what_the_registry_does() -> None:
    named = {row[0]: row[2].replace("`", "").split() for row in table_under(GLOSSARY, "## Keys of the job file")}
    paths = {quantity.key: set(quantity.path.split(".")) for quantity in ALL if quantity.path}
    assert [key for key, path in paths.items() if not path & set(named[key.rpartition(".")[2]])] == []


def test_what_the_glossary_calls_not_yet_is_what_the_page_does() -> None:
    rows = table_under(GLOSSARY, "## Keys of the job file")
    not_yet = {row[0] for row in rows if row[2] == "not yet"}
    assert not_yet <= LATER
    assert LATER - not_yet <= {"load_unit", "rpm_points", "load_points"}  # later in one section only


def test_the_page_has_every_unit() -> None:
    paragraph = PAGE.split("**Units**", 1)[1].split("\n\n", 1)[0]
    assert [unit for unit in UNITS if f"`{unit}`" not in paragraph] == []


def test_the_guide_has_every_mark() -> None:
    rows = table_under(GUIDE, "### Marks of a cell")
    assert set(chain.from_iterable(words(row[0]) for row in rows)) == {mark.value for mark in Mark}


def test_the_guide_has_every_verdict() -> None:
    assert [row[0] for row in table_under(GUIDE, "### Verdicts")] == [verdict.value for verdict in Verdict]


@pytest.mark.parametrize("severity", Severity)
def test_the_guide_has_every_severity(severity: Severity) -> None:
    assert f"**{severity.value}**" in GUIDE


def test_the_page_states_the_uncertainty_of_the_efficiency() -> None:
    tuned, generic, unknown = (EFFICIENCY[state] for state in DonorState)
    paragraph = " ".join(PAGE.split("### Usual spreads", 1)[1].split())
    assert f"{tuned:.0%}".replace("%", " %") + " for a `tuned` donor" in paragraph
    assert f"{generic:.0%}".replace("%", " %") + " for a `generic` one" in paragraph
    assert f"{unknown:.0%}".replace("%", " %") + " for an `unknown` one" in paragraph
