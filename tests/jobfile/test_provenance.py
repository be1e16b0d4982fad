"""Where every number came from."""

from __future__ import annotations

import math

import pytest

from tests.builders.files import assumed, refusal, valid, with_lines

PSI = 6894.757293168


def test_every_quantity_given_is_an_input() -> None:
    written = valid("boosted_in_psi").inputs["donor.injectors.static_flow"]
    assert written.text == "42 lb/h = 440 cc/min ± 2 % k=2"
    assert written.value == pytest.approx(42 * 0.45359237 / 3600)
    assert (written.shown, written.unit, written.k2, written.origin) == (42.0, "lb/h", True, "printed")
    assert written.half_width == pytest.approx(0.02 * written.value)


def test_lists_are_inputs_entry_by_entry() -> None:
    inputs = valid("boosted_in_psi").inputs
    first = inputs["donor.injectors.dead_time.time[0][0]"]
    assert (first.text, first.origin) == ("1.00 ms ± 0.05 ms", "measured")
    assert first.half_width == pytest.approx(0.05e-3)
    assert inputs["donor.injectors.dead_time.time[1][2]"].value == pytest.approx(2.10e-3)
    assert inputs["donor.injectors.dead_time.pressure[1]"].value == pytest.approx(4e5)
    assert inputs["target.injectors.dead_time.time[0]"].value == pytest.approx(0.9e-3)
    assert valid("ve_job").inputs["donor.injectors.dead_time.time[2]"].value == pytest.approx(0.85e-3)


def test_a_gauge_pressure_is_an_absolute_input_against_its_own_barometer() -> None:
    job = valid("boosted_in_psi")
    peak, cut = job.inputs["donor.engine.peak_pressure"], job.inputs["target.engine.load_cut"]
    assert peak.value == pytest.approx(job.donor.hardware.conditions.barometer_pa + 12 * PSI)
    assert cut.value == pytest.approx(job.target.hardware.conditions.barometer_pa + 8 * PSI)
    assert (peak.shown, peak.unit) == (12.0, "psi gauge")


def test_an_altitude_gives_the_barometer_its_spread() -> None:
    barometer = valid("boosted_in_psi").inputs["conditions.barometer"]
    assert barometer.text == "95.461 kPa at 500 m ± 100 m"
    # ISO 2533 tabulates 1.1673 kg/m³ at 500 m (from memory): 11.447 Pa for each metre.
    assert barometer.half_width == pytest.approx(1144.7, rel=1e-4)


def test_parts_are_inputs_as_shares() -> None:
    share = valid("boosted_in_psi").inputs["donor.fuel.parts.ethanol"]
    assert share.value == pytest.approx(0.1)
    assert share.half_width == pytest.approx(0.01)
    assert share.unit == "%"


def test_words_and_counts_are_inputs_too() -> None:
    inputs = valid("boosted_in_psi").inputs
    assert inputs["donor.engine.cycle"].text == "four-stroke"
    assert math.isnan(inputs["donor.engine.cycle"].value)
    assert inputs["donor.engine.cylinders"].value == 4.0
    assert inputs["target.tables.fuel.ecu_applies"].text == "pressure, dead time"
    assert inputs["target.tables.fuel.maximum"].value == 200.0


def test_the_basis_of_the_innermost_section_is_the_origin() -> None:
    inputs = valid("boosted_in_psi").inputs
    origins = {key: inputs[key].origin for key in inputs}
    assert origins["donor.engine.displacement"] == "told"  # of [donor]
    assert origins["donor.injectors.rated_pressure"] == "printed"  # of [donor.injectors]
    assert origins["donor.injectors.dead_time.battery[0]"] == "measured"  # of [donor.injectors.dead_time]
    assert origins["donor.tables.fuel.battery"] == "told"
    assert origins["target.injectors.static_flow"] == "declared"


def test_notes_travel_with_their_section() -> None:
    assert valid("boosted_in_psi").notes == {"job": "Nothing here is real.", "donor.injectors": "from the box"}


def test_a_default_is_an_input_and_an_assumption() -> None:
    job = valid("ve_job")
    factor = job.inputs["donor.settings.formula_factor"]
    assert (factor.value, factor.half_width, factor.origin) == (1.0, 0.05, "default")
    listed = assumed(job)["donor.settings.formula_factor"]
    assert (listed.value, listed.half_width, listed.unknown) == ("1", "5 %", False)


def test_an_unknown_is_an_input_and_an_assumption_with_its_effect() -> None:
    job = valid("unknowns")
    rated = job.inputs["donor.injectors.rated_pressure"]
    assert rated.value == pytest.approx(3e5)
    assert rated.half_width == pytest.approx(0.5e5)
    assert rated.origin == "assumed"
    listed = assumed(job)["donor.injectors.rated_pressure"]
    assert (listed.unknown, listed.moves) == (True, "the flow, 8 %")


def test_what_is_declared() -> None:
    declared = valid("unknowns").declared
    assert {"donor", "donor.engine", "donor.engine.displacement", "donor.injectors.static_flow"} <= declared
    assert "donor.injectors.rated_pressure" not in declared  # "unknown" is no fact
    assert "donor.engine.rev_limit" not in declared


def test_what_the_target_copies_is_declared_but_no_input_of_its_own() -> None:
    job = valid("unknowns")
    assert "target.injectors.static_flow" in job.declared
    assert "target.injectors.rated_pressure" not in job.declared
    assert "target.injectors.static_flow" not in job.inputs


def test_what_the_target_replaces_is_not_copied() -> None:
    declared = valid("boosted_in_psi").declared
    assert {"target.fuel.blend", "target.fuel.octane", "target.engine.cylinders"} <= declared
    assert not any(key.startswith("target.fuel.parts") for key in declared)


def test_defaults_of_a_copied_section_are_listed_once() -> None:
    job = with_lines(
        ("[target.engine]", '[target]\nsame_as_donor = ["fuel"]\n\n[target.engine]'),
        ('[target.fuel]\nblend = "E85"\nrail_pressure = "3.5 bar"\nregulator = "manifold"\n', ""),
    )
    assert "donor.fuel.temperature" in assumed(job)
    assert "target.fuel.temperature" not in assumed(job)
    assert "target.fuel.temperature" not in job.inputs


def test_what_the_target_calls_unknown_in_a_copied_section_is_listed() -> None:
    job = with_lines(
        ("[target.engine]", '[target]\nsame_as_donor = ["injectors", "fuel"]\n\n[target.engine]'),
        ('static_flow = "280 cc/min"', 'static_flow = "280 cc/min"\nrated_fluid = "0.72 g/cc"'),
        ('static_flow = "650 cc/min"', 'static_flow = "650 cc/min"\nrated_fluid = "unknown"'),
        ('blend = "E5"', 'parts = { petrol = 90, ethanol = "10 ± 1" }'),
        ('blend = "E85"', 'blend = "unknown"'),
    )
    listed = assumed(job)
    assert listed["target.injectors.rated_fluid"].unknown
    assert listed["target.fuel.blend"].unknown
    assert job.inputs["target.fuel.parts.ethanol"].half_width == pytest.approx(0.05)
    assert job.inputs["donor.fuel.parts.ethanol"].half_width == pytest.approx(0.01)


def test_a_default_of_both_sides_is_listed_once() -> None:
    keys = [assumption.key for assumption in valid("cancelled").assumed]
    assert keys.count("conditions.barometer") == 1
    assert keys.count("conditions.battery") == 1


def test_a_note_must_be_a_text() -> None:
    assert refusal(('state = "tuned"', "notes = 3")) == "job.toml: donor.notes: must be text in quotes"
