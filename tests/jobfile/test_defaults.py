"""The table of defaults: it says what the program does."""

from __future__ import annotations

import pytest

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.jobfile import schema, table_sections
from basemap.jobfile.provenance import default_quantity
from basemap.jobfile.schema import keys_of
from tests.builders.cases import each
from tests.builders.files import VALID, assumed, valid

# The defaults that the interface promises, typed in from it.
PROMISED = {
    "rated pressure": (Kind.RAIL_PRESSURE, 3.0e5, 0.5e5),
    "rated fluid unknown": (Kind.DENSITY, 700.0, 40.0),
    "dead time": (Kind.TIME, 0.9e-3, 0.4e-3),
    "intended lambda": (Kind.NUMBER, 0.95, 0.10),
    "formula factor": (Kind.NUMBER, 1.0, 0.05),
    "barometer": (Kind.BAROMETER, 101_325.0, None),
    "charge temperature": (Kind.TEMPERATURE, 313.15, None),
    "battery": (Kind.VOLTAGE, 13.8, None),
    "cranking": (Kind.SPEED, 200.0, None),
    "coldest start": (Kind.TEMPERATURE, 273.15, None),
    "openings": (Kind.NUMBER, 1.0, None),
}


@each("name", PROMISED)
def test_what_is_promised(name: str) -> None:
    kind, value, half_width = PROMISED[name]
    measured = default_quantity(DEFAULTS[name])
    assert measured is not None
    assert DEFAULTS[name].kind is kind
    assert measured.value == pytest.approx(value)
    assert measured.half_width == (None if half_width is None else pytest.approx(half_width))


def test_every_default_has_words() -> None:
    times = ("left out", "unknown", "either")
    assert [name for name, one in DEFAULTS.items() if not (one.value and one.why and one.when in times)] == []
    # It becomes a row of a table.
    assert [name for name, one in DEFAULTS.items() if "|" in one.text + one.why + one.moves] == []


def test_every_default_stands_for_a_key() -> None:
    assert [one.key for one in DEFAULTS.values() if one.key and not is_known(one.key)] == []


def is_known(place: str) -> bool:
    *section, key = place.split(".")
    starts = [["target"], ["donor"], []] if section[0] not in ("conditions", "donor") else [[]]
    return any(key in known_keys([*start, *section]) for start in starts)


def known_keys(section: list[str]) -> list[str]:
    model = schema.JobFile
    for part in section:
        leads_to = table_sections.COMPANIONS.get(model) if part == "NAME" else keys_of(model).get(part)
        if leads_to is None:
            return []
        model = leads_to  # type: ignore[assignment]
    return list(keys_of(model))


def test_every_default_that_is_used_is_in_the_table() -> None:
    """Whatever the valid jobs list as assumed has the reason of one of the table's rows."""
    reasons = {default.why for default in DEFAULTS.values()}
    used = {entry.why for path in VALID.glob("*.toml") for entry in assumed(valid(path.stem)).values()}
    assert used <= reasons
    assert reasons - used == {
        DEFAULTS["reference pressure"].why,
        DEFAULTS["battery of a cranking table"].why,
        DEFAULTS["battery of a further table"].why,
        DEFAULTS["corrects charge temperature, pulse width"].why,
    }
