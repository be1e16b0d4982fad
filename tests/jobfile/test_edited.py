"""A job file of which some keys are changed: everything else in it stays as a person wrote it."""

from __future__ import annotations

import tomllib

import pytest

from basemap.errors import InputError
from basemap.jobfile.edited import edited, with_number
from basemap.model.key_edit import KeyEdit
from tests.builders.cases import each

JOB = """\
# At the top.
title = "A van" # its name

[donor.fuel]
blend = "E5" # as the pump said
temperature = "40 degC"

# Belongs to the table below.
[donor.tables.fuel]
file = "fuel.csv"

[target.injectors]
static_flow = "650 cc/min ± 2 %"

[target.injectors.dead_time]
battery = [
  "8 V",
  "12 V", # the usual one
]
time = ["2.95 ms", "1.42 ms"]

# Belongs to the options.
[options]
breathing = "same"
"""


def edit(key: str, value: float | str | bool | None, unit: str = "", before: float | None = None) -> KeyEdit:
    parts = tuple(int(part) if part.isdigit() else part for part in key.split("."))
    return KeyEdit(parts, value, "from back.xlsx, cell Inputs!B7", unit, before)


def test_one_number_is_changed_and_its_spread_is_kept() -> None:
    done = edited(JOB, [edit("target.injectors.static_flow", 612.5, "cc/min", 650.0)])
    assert done == JOB.replace('"650 cc/min ± 2 %"', '"612.5 cc/min ± 2 %" # from back.xlsx, cell Inputs!B7')


def test_a_comment_that_stands_there_is_kept() -> None:
    done = edited(JOB, [edit("donor.fuel.blend", "E10")])
    assert done == JOB.replace('"E5" # as the pump said', '"E10" # as the pump said; from back.xlsx, cell Inputs!B7')


def test_a_new_key_stands_behind_the_last_of_its_section_and_not_behind_a_comment_of_the_next() -> None:
    done = edited(JOB, [edit("donor.fuel.rail_pressure", 3.2, "bar")])
    assert done == JOB.replace(
        'temperature = "40 degC"\n',
        'temperature = "40 degC"\nrail_pressure = "3.2 bar" # from back.xlsx, cell Inputs!B7\n',
    )


def test_a_new_section_stands_behind_those_of_its_side() -> None:
    done = edited(JOB, [edit("target.conditions.battery", 13.5, "V"), edit("target.conditions.barometer", 99.0, "kPa")])
    assert done == JOB.replace(
        "# Belongs to the options.",
        '[target.conditions]\nbattery = "13.5 V" # from back.xlsx, cell Inputs!B7\n'
        'barometer = "99 kPa" # from back.xlsx, cell Inputs!B7\n\n# Belongs to the options.',
    )


def test_a_side_whose_sections_stand_here_and_there() -> None:
    mixed = JOB + '\n[donor.engine]\nbore = "86 mm"\n'
    done = edited(mixed, [edit("donor.conditions.battery", 13.5, "V"), edit("donor.fuel.blend", "E10")])
    held = tomllib.loads(mixed)
    held["donor"]["conditions"], held["donor"]["fuel"]["blend"] = {"battery": "13.5 V"}, "E10"
    assert tomllib.loads(done) == held
    assert [line for line in mixed.splitlines() if line not in done.splitlines()] == ['blend = "E5" # as the pump said']


def test_an_entry_of_a_list_over_several_lines() -> None:
    done = edited(JOB, [edit("target.injectors.dead_time.battery.1", 12.5, "V", 12.0)])
    assert done == JOB.replace(
        '"12 V", # the usual one\n]', '"12.5 V", # the usual one\n] # from back.xlsx, cell Inputs!B7'
    )


def test_a_list_may_be_meant_as_a_list_of_lists() -> None:
    done = edited(JOB, [edit("target.injectors.dead_time.time.0.1", 1.5, "ms", 1.42)])
    assert tomllib.loads(done)["target"]["injectors"]["dead_time"]["time"] == ["2.95 ms", "1.5 ms"]
    alone = JOB.replace('["2.95 ms", "1.42 ms"]', '"1.42 ms"')
    done = edited(alone, [edit("target.injectors.dead_time.time.0.0", 1.5, "ms", 1.42)])
    assert tomllib.loads(done)["target"]["injectors"]["dead_time"]["time"] == "1.5 ms"


def test_a_key_that_goes_takes_its_line_along() -> None:
    assert edited(JOB, [edit("donor.fuel.blend", None)]) == JOB.replace('blend = "E5" # as the pump said\n', "")
    assert edited(JOB, [edit("donor.engine.bore", None), edit("sensors.map.error", None)]) == JOB


def test_line_ends_stay_what_they_are() -> None:
    done = edited(JOB.replace("\n", "\r\n"), [edit("donor.fuel.rail_pressure", 3.2, "bar")])
    assert "\n" not in done.replace("\r\n", "")
    assert done.count("\r\n") == JOB.count("\n") + 1


@each(
    ("written", "before", "after"),
    [
        ("280 cc/min ± 3 %", 280.0, "290 cc/min ± 3 %"),
        ("2.80e2 cc/min ± 8 cc/min k=2", 280.0, "290 cc/min ± 8 cc/min k=2"),
        ("28 lb/h = 280 cc/min", 28.0, "290 lb/h = 2900 cc/min"),
        ("0.98 bar absolute", 98.0, "290 kPa"),  # the number that stood in the cell was in another unit
        ("unknown", None, "290 kPa"),
        (None, None, "290 kPa"),
    ],
)
def test_a_number_takes_the_place_of_the_one_that_was_meant(
    written: str | None, before: float | None, after: str
) -> None:
    assert with_number(written, KeyEdit(("key",), 290.0, "", "kPa", before)) == after


def test_a_bare_number_stays_bare() -> None:
    assert with_number(4, KeyEdit(("key",), 6.0, "", before=4.0)) == 6
    assert with_number(0.93, KeyEdit(("key",), 1.0, "", before=0.93)) == 1.0
    assert with_number("78 ± 3", KeyEdit(("key",), 75.0, "", before=78.0)) == "75 ± 3"


def test_a_remark_cannot_leave_its_comment() -> None:
    with pytest.raises(InputError, match="is written in a way that a program cannot change safely"):
        edited(JOB, [KeyEdit(("donor", "fuel", "blend"), "E10", 'x\n[donor.engine]\nbore = "1 mm"')])


def test_what_cannot_be_changed_safely_is_left_to_a_person() -> None:
    with pytest.raises(InputError) as refused:
        edited(JOB, [edit("title.fuel.blend", "E10")])
    assert str(refused.value) == (
        "is written in a way that a program cannot change safely: make the changes that "
        '"basemap compare" prints by hand'
    )
