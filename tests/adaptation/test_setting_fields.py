"""Settings as the fields of the target's ECU can hold them: what is entered, and what goes into the cells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt, compute
from basemap.adaptation.setting_fields import in_force
from basemap.adaptation.settings_in_force import exactly
from basemap.errors import InputError
from basemap.jobfile.load import load_job
from basemap.model.finding import Severity
from basemap.model.result import Result, Setting
from basemap.model.storage import at_limit, hold
from basemap.model.table import Storage
from basemap.report.json_file import as_json
from tests.builders.cases import each
from tests.builders.computed import found, with_target
from tests.builders.files import with_lines
from tests.builders.with_settings import adapted, built
from tests.samples.make_samples import SAMPLES

FIELDS = "\n[target.settings.fields]\n"


def row(result: Result, name: str) -> Setting:
    return next(one for one in result.settings if one.name == name)


@pytest.mark.check_value
def test_a_flow_that_the_field_cannot_hold(tmp_path: Path) -> None:
    # By hand: the donor was told 280 cc/min; the target's injectors pass twice that: 560. The field ends at 255. A VE
    # table commands pulses in proportion to the cell and inversely to the flow told, so with 255 for 560 told the pulse
    # is 560/255 too long, and the cells shrink to 255/560 of themselves.
    free = adapted(tmp_path)
    assert row(free, "static_flow").enter == 560.0
    held = adapted(tmp_path, FIELDS + "static_flow = { maximum = 255 }\n")
    flow = row(held, "static_flow")
    assert (flow.enter, flow.exact, flow.old) == (255.0, 560.0, 280.0)
    np.testing.assert_allclose(held.table.new, free.table.new * 255.0 / 560.0, rtol=1e-12)
    # What is commanded, and so the mixture, is the same.
    np.testing.assert_allclose(held.table.pulse_s, free.table.pulse_s, rtol=1e-12)
    np.testing.assert_allclose(held.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    # The old table with the new settings now gives 560/255 of the fuel: richer by as much, dead time apart.
    old = held.table.lambda_ratio["old_table_new_settings"] / free.table.lambda_ratio["old_table_new_settings"]
    np.testing.assert_allclose(old, 255.0 / 560.0, rtol=1e-12)
    assert flow.basis.startswith(
        "held at the field's maximum: 560 cc/min is what it should be, and the cells make up the -54.5 %; type this one"
    )
    found = [one for one in held.findings if one.rule == "setting-limits"]
    assert [(one.severity, one.message) for one in found] == [
        (
            Severity.CAUTION,
            "The maximum of the field is 255 cc/min, and static_flow should be 560 cc/min: the cells make up the rest.",
        )
    ]
    entry = next(one for one in as_json(held)["settings"] if one["name"] == "static_flow")
    assert (entry["enter"], entry["exact"]) == (255.0, 560.0)


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("field", "entered", "factor"),
    [
        # A pulse goes with displacement and inversely with flow and stoichiometric ratio, the cell the other way.
        ("displacement = { maximum = 2000 }", ("displacement", 2000.0), 2400.0 / 2000.0),
        ("displacement = { step = 64 }", ("displacement", 2432.0), 2400.0 / 2432.0),  # 2400/64 = 37.5: up to 38 · 64
        ("stoichiometric = { decimals = 0 }", ("stoichiometric", 14.0), 14.0 / 14.3),
        ("static_flow = { minimum = 600 }", ("static_flow", 600.0), 600.0 / 560.0),
    ],
)
def test_what_is_left_goes_into_the_cells(
    field: str, entered: tuple[str, float], factor: float, tmp_path: Path
) -> None:
    free, held = adapted(tmp_path), adapted(tmp_path, f"{FIELDS}{field}\n")
    assert row(held, entered[0]).enter == entered[1]
    np.testing.assert_allclose(held.table.new, free.table.new * factor, rtol=1e-12)
    np.testing.assert_allclose(held.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)


@pytest.mark.check_value
def test_dead_times_in_steps(tmp_path: Path) -> None:
    # By hand: 0.885 ms at 13.8 V between 1.20 ms at 12 V and 0.85 ms at 14 V. In steps of 0.1 ms, half away from zero:
    # 1.75 → 1.8, 1.2 → 1.2, 0.85 → 0.9; at 13.8 V then 0.93 ms: 0.045 ms of every pulse go out of the cells.
    free, held = adapted(tmp_path), adapted(tmp_path, FIELDS + "dead_time = { step = 0.1 }\n")
    assert row(held, "dead_time").enter == (1.8, 1.2, 0.9)
    assert row(held, "dead_time").exact == (1.75, 1.2, 0.85)
    np.testing.assert_allclose(held.table.pulse_s, free.table.pulse_s, rtol=1e-12)
    effective = (free.table.pulse_s - 0.885e-3) / free.table.new
    np.testing.assert_allclose((free.table.new - held.table.new) * effective, 0.045e-3, rtol=1e-9)
    # At another voltage the cells cannot make up for it: 0.05 ms long at 10 V.
    assert held.sweep.leanest[0] != pytest.approx(1.0, abs=1e-6)


@pytest.mark.check_value
def test_a_density_and_the_flow_beside_it(tmp_path: Path) -> None:
    # By hand: what counts is flow times density. The density to enter, 790, is held at 750, so the flow grows by
    # 790/750 and the cells stay; only where the flow is rounded in its turn they do not.
    told = ('[donor.settings]\nfuel_density = "745 kg/m3"\n',)
    free = adapted(tmp_path, *told)
    density, flow = row(free, "fuel_density").enter, row(free, "static_flow").enter
    assert isinstance(density, float)
    assert isinstance(flow, float)
    held = adapted(tmp_path, *told, FIELDS + "fuel_density = { maximum = 700 }\n")
    assert row(held, "fuel_density").enter == 700.0
    assert row(held, "static_flow").enter == pytest.approx(flow * density / 700.0, rel=1e-12)
    np.testing.assert_allclose(held.table.new, free.table.new, rtol=1e-12)
    both = adapted(tmp_path, *told, FIELDS + "fuel_density = { maximum = 700 }\nstatic_flow = { maximum = 500 }\n")
    np.testing.assert_allclose(both.table.new, free.table.new * 500.0 * 700.0 / (flow * density), rtol=1e-12)


@pytest.mark.law
def test_fields_that_hold_everything_change_nothing(tmp_path: Path) -> None:
    free = adapted(tmp_path)
    wide = adapted(tmp_path, FIELDS + "static_flow = { minimum = 0, maximum = 5000 }\ndisplacement = { step = 1 }\n")
    np.testing.assert_array_equal(wide.table.new, free.table.new)
    assert [one.exact for one in wide.settings] == [None] * len(wide.settings)
    assert not [one for one in wide.findings if one.rule == "setting-limits"]


@pytest.mark.law
def test_without_fields_the_settings_are_exact(tmp_path: Path) -> None:
    job = built(tmp_path)
    assert in_force(job).new == exactly(job).new


@pytest.mark.law
def test_the_donors_and_the_old_settings_are_not_touched(tmp_path: Path) -> None:
    free, held = built(tmp_path), built(tmp_path, FIELDS + "static_flow = { maximum = 255 }\n")
    assert in_force(held).donor.flow_kg_s == in_force(free).donor.flow_kg_s
    assert in_force(held).old.flow_kg_s == in_force(free).old.flow_kg_s
    np.testing.assert_array_equal(
        compute(held).table.lambda_ratio["old_table_old_settings"],
        compute(free).table.lambda_ratio["old_table_old_settings"],
    )


@each(("exact", "limit"), [(255.4, ""), (255.6, "maximum"), (9.6, ""), (9.4, "minimum"), (100.0, "")])
def test_beyond_a_limit_is_more_than_rounding(exact: float, limit: str) -> None:
    assert at_limit(exact, Storage(decimals=0, minimum=10.0, maximum=255.0)) == limit


def test_numbers_are_held_half_away_from_zero() -> None:
    assert hold(2.675, Storage(decimals=2)) == 2.68
    assert hold(300.0, Storage(step=0.5, maximum=255.0)) == 255.0
    assert hold(0.1 + 0.2, Storage(minimum=0.0)) == 0.1 + 0.2


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "static_flow = {}",
            "job.toml: target.settings.fields.static_flow: is empty: give maximum, minimum, step or decimals of the "
            "field",
        ),
        (
            "static_flow = { step = 1, decimals = 0 }",
            "job.toml: target.settings.fields.static_flow.step: is given together with decimals: give only one of the "
            "two",
        ),
        (
            "static_flow = { minimum = 300, maximum = 200 }",
            "job.toml: target.settings.fields.static_flow.maximum: 200 is not above the minimum of 300",
        ),
        (
            "static_flow = { minimum = 250, maximum = 255, step = 10 }",
            "job.toml: target.settings.fields.static_flow.maximum: no two numbers 10 apart fit between 250 and 255: "
            "is it in the unit of the setting?",
        ),
        (
            "fuel_density = { maximum = 800 }",
            "job.toml: target.settings.fields.fuel_density: is for an ECU that takes its fuel_density, and this table "
            "has nothing to enter there: leave it out",
        ),
        (
            'static_flow = { maximum = "255 cc/min" }',
            "job.toml: target.settings.fields.static_flow.maximum: must be a number in the unit of the table's cells, "
            "without quotes",
        ),
        (
            "flow = { maximum = 255 }",
            'job.toml: target.settings.fields.flow: unknown key: did you mean "static_flow"?',
        ),
    ],
)
def test_a_field_that_cannot_be(text: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, f"{FIELDS}{text}\n")
    assert str(caught.value) == message


def test_a_setting_that_is_kept_has_no_field(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, '\n[target.settings]\ncannot_be_told = ["static_flow"]\nfields.static_flow.maximum = 255\n')
    assert str(caught.value) == (
        "job.toml: target.settings.fields.static_flow: limits the field, but the ECU keeps its static_flow as it is: "
        "keep one of the two"
    )


def test_a_guessed_dead_time_is_no_data() -> None:
    lines = (
        '[target.injectors.dead_time]\nbattery = ["10 V", "12 V", "14 V"]\ntime = ["2.05 ms", "1.42 ms", "1.02 ms"]\n'
    )
    flow = 'static_flow = "650 cc/min"'
    guessed = compute(with_lines((lines, ""), (flow, f'{flow}\ndead_time = "unknown"'))).settings
    (row,) = [one for one in guessed if one.name == "dead_time"]
    assert row.guessed
    assert row.basis == (
        "a GUESS, not the fitted injectors' own: 0.9 ms ± 0.4 ms at 14 V, falling by 0.2 ms/V; common practice; "
        "measure it, absolute, at 3.5 bar"
    )
    stated = [one for one in compute(with_lines()).settings if one.name == "dead_time"]
    assert not stated[0].guessed
    assert stated[0].basis == "the fitted injectors' own, absolute, at 3.5 bar"


@pytest.mark.check_value
@each(
    ("keys", "injectors"),
    [("per_cylinder = 2", 8.0), ("count = 2", 2.0), ("per_cylinder = 1", 4.0)],
)
def test_counts_are_settings(keys: str, injectors: float) -> None:
    """By hand: two injectors on each of four cylinders are eight; two for all four are two. The donor has four."""
    flow = 'static_flow = "650 cc/min"'
    result = adapt(with_lines((flow, f"{flow}\n{keys}")))
    assert (row(result, "cylinders").old, row(result, "cylinders").enter) == (4.0, 4.0)
    assert (row(result, "injectors").old, row(result, "injectors").enter) == (4.0, injectors)
    said = [finding.message for finding in found(result, "injection-mode")]
    times = {8.0: "2 times the fuel, rich", 2.0: "0.5 times the fuel, lean"}.get(injectors)
    assert len(said) == (times is not None)
    if times is not None:
        assert f"with the ECU's count left as it was, it gives {times}" in said[0]


@pytest.mark.law
def test_a_table_of_pulses_shows_counts_that_differ() -> None:
    job = load_job(SAMPLES / "orchard_pickup.toml")
    assert [one.name for one in compute(job).settings] == []
    two = with_target(job, "injectors", per_cylinder=2.0)
    assert [one.name for one in compute(two).settings] == ["cylinders", "injectors"]
