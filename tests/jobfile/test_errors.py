"""Structural problems, as one sentence about the first in file order."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from basemap.errors import InputError, Mistakes
from basemap.jobfile import schema, table_sections
from basemap.jobfile.load import build_job
from basemap.jobfile.schema import keys_of
from tests.builders.cases import each
from tests.builders.files import FILE, VALID


def refusal(text: str) -> str:
    with pytest.raises(InputError) as caught:
        build_job(tomllib.loads(text), VALID, FILE)
    return str(caught.value)


@each(
    ("text", "message"),
    [
        ("[doner.engine]\n", 'doner: unknown key: did you mean "donor"?'),
        ("[donor.engine]\ncylinder = 4\n", 'donor.engine.cylinder: unknown key: did you mean "cylinders"?'),
        (
            "[donor.fuel]\nload_cut = 1\n",
            'donor.fuel.load_cut: unknown key here: "load_cut" belongs in [target.engine]',
        ),
        ("[target.fuel]\ncount = 1\n", 'target.fuel.count: unknown key here: "count" belongs in [target.injectors]'),
        (
            "[target.motor]\n",
            "target.motor: unknown key: this section takes notes, basis, same_as_donor, conditions, engine, injectors, "
            "fuel, settings, tables, sensors",
        ),
        ("[target.enigne]\n", 'target.enigne: unknown key: did you mean "engine"?'),
        ("battery = 1\n", 'battery: unknown key here: "battery" belongs in [conditions]'),
        (
            "[donor.fuel]\nstatic_flw = 1\n",
            'donor.fuel.static_flw: unknown key: the nearest is "static_flow" in [donor.injectors]',
        ),
        (
            '[donor.tables.fuel]\nlambda = { fil = "x" }\n',
            'donor.tables.fuel.lambda.fil: unknown key: did you mean "file"?',
        ),
        (
            "[options]\nx = 1\n",
            "options.x: unknown key: this section takes notes, basis, breathing, breathing_both_ways, richer_at_load",
        ),
        ("donor = 3\n", "donor: must be a section with keys of its own, not 3"),
        ("[[donor.engine]]\n", "donor.engine: must be a section with keys of its own, not [{}]"),
        (
            "[target.tables.crank]\nbatery = 1\n",
            'target.tables.crank.batery: unknown key: did you mean "battery"?',
        ),
        (
            "[donor.engine]\nthrottles = 4\n",
            "donor.engine.throttles: must be a section with keys of its own, not 4: throttles = { count = 4, bore = "
            '"40 mm", feeds = 1 }, feeds being the cylinders that draw through each; of one throttle say throttle_bore '
            '= "60 mm" instead',
        ),
        (
            '[donor.engine]\nthrottles = { diameter = "40 mm" }\n',
            "donor.engine.throttles.diameter: unknown key: this section takes notes, count, bore, feeds",
        ),
        (
            '[target.tables.fuel]\nload = "manifold pressure"\n',
            "target.tables.fuel.load: unknown key here: the target's table has the donor's axes; leave the key out, "
            "or give the table its own points: load_points = [30, 60, 100]; the unit of the loads is load_unit",
        ),
        (
            "[target.tables.fuel]\nrpm = [1000, 6000]\n",
            "target.tables.fuel.rpm: unknown key here: the target's table has the donor's axes; leave the key out, or "
            "give the table its own points: rpm_points = [1000, 3000, 6000]",
        ),
        (
            "[target.tables.crank]\naxis = [0, 20]\n",
            "target.tables.crank.axis: unknown key here: the target's table has the donor's axes; leave the key out, "
            "or give the table its own points: axis_points = [-20, 20, 80]",
        ),
        (
            "[donor.tables.fuel]\naxis = 1\n",
            'donor.tables.fuel.axis: unknown key here: "axis" belongs in [donor.tables.NAME]',
        ),
        (
            "[target.tables]\ncrank = 3\n",
            "target.tables.crank: must be a section with keys of its own, not 3",
        ),
        (
            "[donor.engine]\ncylinders = 1979-05-27\n",
            "donor.engine.cylinders: must be a whole number from 1 to 24, without quotes",
        ),
        ("[donor.engine]\ndisplacement = nan\n", 'donor.engine.displacement: "nan" is not a volume such as "1998 cc"'),
    ],
)
def test_messages(text: str, message: str) -> None:
    assert refusal(text) == f"{FILE}: {message}"


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("[donor.engine]\ncylinders = 0\nzz = 1\n", "donor.engine.cylinders"),
        ("[donor.engine]\nzz = 1\ncylinders = 0\n", "donor.engine.zz"),
        ("[target.engine]\nzz = 1\n[donor.engine]\ncylinders = 0\n", "target.engine.zz"),
        ("[donor.fuel]\noctane = 0\n[donor.engine]\ncylinders = 0\n", "donor.fuel.octane"),
    ],
)
def test_the_first_in_file_order_is_named(text: str, key: str) -> None:
    assert refusal(text).startswith(f"{FILE}: {key}: ")


def test_all_mistakes_are_said_at_once_in_file_order() -> None:
    text = (
        '[target.engine]\ndisplacement = "2 cows"\nzz = 1\n'
        '[donor.engine]\ncylinders = 0\n[donor.fuel]\nrail_pressure = "3 furlong"\n'
    )
    with pytest.raises(Mistakes) as caught:
        build_job(tomllib.loads(text), VALID, FILE)
    first, *others = caught.value.lines
    assert first == f"{FILE}: 4 mistakes:"
    assert [line.split(": ")[0] for line in others] == [
        *(
            "  target.engine.displacement",
            "  target.engine.zz",
            "  donor.engine.cylinders",
            "  donor.fuel.rail_pressure",
        )
    ]


def test_at_most_ten_mistakes_are_listed() -> None:
    with pytest.raises(Mistakes) as caught:
        build_job({"donor": {"engine": {f"z{number:02}": 1 for number in range(12)}}}, VALID, FILE)
    first, *others = caught.value.lines
    assert first == f"{FILE}: 12 mistakes, of which the first 10 are:"
    assert [line[:19] for line in others] == [f"  donor.engine.z{number:02}:" for number in range(10)]


def supported() -> list[tuple[str, ...]]:
    """Every key of the schema with its sections."""
    found: list[tuple[str, ...]] = []
    todo: list[tuple[tuple[str, ...], type[BaseModel]]] = [((), schema.JobFile)]
    while todo:
        section, model = todo.pop()
        for key, leads_to in keys_of(model).items():
            found.append((*section, key))
            if leads_to is not None:
                todo.append(((*section, key), leads_to))
        if model in table_sections.COMPANIONS:
            todo.append(((*section, "crank"), table_sections.COMPANIONS[model]))
    return found


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=12) | st.just("unknown"),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=2),
    max_leaves=5,
)


OUT_OF_PLACE: tuple[object, ...] = (
    None,
    "",
    "unknown",
    True,
    0,
    -1,
    float("nan"),
    float("inf"),
    10**400,
    [],
    [None],
    {},
    {"": None},
    "1e999 bar",
)


@pytest.mark.law
@pytest.mark.parametrize("value", OUT_OF_PLACE, ids=lambda value: repr(value)[:12])
def test_no_key_of_the_job_file_answers_a_value_out_of_place_with_a_traceback(value: object) -> None:
    """Every key with every such value; ``None`` is a JSON null, which a caller of ``build_job`` may hand in."""
    for path in supported():
        assert_refused_in_one_sentence(path, value)


@pytest.mark.law
@settings(max_examples=300, deadline=None)
@given(path=st.sampled_from(supported()), value=VALUES)
def test_any_value_under_any_key_is_refused_in_one_sentence(path: tuple[str, ...], value: object) -> None:
    assert_refused_in_one_sentence(path, value)


def assert_refused_in_one_sentence(path: tuple[str, ...], value: object) -> None:
    """None of these jobs is complete, so each must end in a message, and never in another exception."""
    data: dict[str, object] = {path[-1]: value}
    for part in reversed(path[:-1]):
        data = {part: data}
    with pytest.raises(InputError) as caught:
        build_job(data, VALID, FILE)
    assert str(caught.value).startswith(f"{FILE}: ")
