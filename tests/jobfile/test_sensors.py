"""Sensor scales from a job file: units, order, thermistors, what is kept of them."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.model.job import Job
from basemap.model.sensor import SensorScale
from tests.builders.files import refusal, with_lines

THERMISTOR = """
[target.sensors.iat]
kind = "temperature"
resistance = ["15971 ohm", "2.044 kΩ", "175.7 ohm"]
value = ["-20 degC", "77 degF", "373.15 K"]
pull_up = "2490 ohm"
supply = "5 V"
"""


def section(kind: str, volts: str, value: str, more: str = "", name: str = "spare") -> str:
    return f'\n[target.sensors.{name}]\nkind = "{kind}"\nvolts = [{volts}]\nvalue = [{value}]\n{more}\n'


def target_scale(text: str, name: str = "spare") -> SensorScale:
    return with_lines(append=text).target.sensors[name]


def test_points_are_sorted_by_voltage() -> None:
    scale = target_scale(section("pressure", '"4.5 V", "500 mV"', '"105 kPa", "20 kPa"'))
    assert scale.volts.tolist() == [0.5, 4.5]
    assert scale.values.tolist() == [20e3, 105e3]


def test_an_air_fuel_scale_becomes_lambda_by_its_own_basis() -> None:
    scale = target_scale(section("air/fuel ratio", '"0 V", "5 V"', '"10", 20.0', "basis = 14.7"))
    assert scale.values == pytest.approx([10 / 14.7, 20 / 14.7], rel=1e-15)
    assert scale.shown.unit == "air/fuel"
    assert float(scale.shown.of(1.0)) == pytest.approx(14.7, rel=1e-15)


def test_a_gauge_pressure_refers_to_its_own_barometer() -> None:
    scale = target_scale(section("pressure", '"0.5 V", "4.5 V"', '"0 psi gauge", "14.5 psi gauge"'))
    assert scale.values[0] == pytest.approx(101_325.0)
    # 1 psi = 6894.757 Pa (NIST SP 811)
    assert scale.values[1] == pytest.approx(101_325.0 + 14.5 * 6894.757, rel=1e-7)
    assert scale.shown.unit == "psi gauge"
    assert scale.shown.of(scale.values) == pytest.approx([0.0, 14.5], abs=1e-9)


def test_mixed_units_are_shown_in_a_usual_one() -> None:
    scale = target_scale(THERMISTOR, "iat")
    assert scale.shown.unit == "degC"
    assert scale.shown.of(scale.values[::-1]) == pytest.approx([-20.0, 25.0, 100.0], abs=1e-9)


def test_position_is_a_fraction() -> None:
    assert target_scale(section("position", '"0.5 V", "4.5 V"', "0, 100")).values.tolist() == [0.0, 1.0]


@pytest.mark.check_value
@pytest.mark.parametrize(("celsius", "ohm"), [(0.0, 5975.0), (20.0, 2502.0), (40.0, 1152.0), (80.0, 308.6)])
def test_a_published_thermistor_through_the_job(celsius: float, ohm: float) -> None:
    # Resistances: a coolant sensor's table in a vehicle service manual of 2020. Three of its points are in the job;
    # these are four others, met within 0.01 K. The voltage is Ohm's law, by hand.
    scale = target_scale(THERMISTOR, "iat")
    volts = 5.0 * ohm / (ohm + 2490.0)
    assert float(scale.true(volts)) - 273.15 == pytest.approx(celsius, abs=0.01)


def test_a_thermistor_gives_no_reading_in_a_short_or_open_circuit() -> None:
    assert np.isnan(target_scale(THERMISTOR, "iat").true(np.array([0.0, 5.0]))).all()


def test_what_a_controller_reads_is_held_at_the_ends_and_what_is_true_is_continued() -> None:
    scale = target_scale(section("pressure", '"0.5 V", "4.5 V"', '"20 kPa", "100 kPa"'))
    assert scale.value_at(np.array([0.0, 5.0])).tolist() == [20e3, 100e3]
    assert scale.true(np.array([0.0, 5.0])) == pytest.approx([10e3, 110e3])


def test_the_job_keeps_what_was_written() -> None:
    job: Job = with_lines(append=THERMISTOR)
    assert job.inputs["target.sensors.iat.resistance[1]"].value == pytest.approx(2044.0)
    assert job.inputs["target.sensors.iat.pull_up"].text == "2490 ohm"
    assert job.inputs["target.sensors.iat.value"].text == "-20 degC, 77 degF, 373.15 K"
    assert job.inputs["target.sensors.iat.kind"].text == "temperature"
    assert "target.sensors.iat.supply" in job.declared


@pytest.mark.parametrize(
    ("donor", "target", "kind", "values", "place", "meant"),
    [
        ("tp", "tps", "position", "0, 100", "donor.sensors.tp", "target.sensors.tps"),
        ("tps", "tp", "position", "0, 100", "target.sensors.tp", "donor.sensors.tps"),
        ("MAP", "map", "pressure", '"20 kPa", "105 kPa"', "donor.sensors.MAP", "target.sensors.map"),
        ("oil_1", "oil_2", "pressure", '"20 kPa", "105 kPa"', "target.sensors.oil_2", "donor.sensors.oil_1"),
    ],
)
def test_one_sensor_under_two_names_is_refused(
    donor: str, target: str, kind: str, values: str, place: str, meant: str
) -> None:
    """Else the two scales are not compared, and a wrong one passes."""
    one, other = (section(kind, '"0.5 V", "4.5 V"', values, name=name) for name in (donor, target))
    assert refusal(append=one.replace("[target", "[donor") + other) == (
        f'job.toml: {place}: did you mean "{meant.rpartition(".")[2]}", as in [{meant}]? The two scales are compared '
        "only if the sensor has one name on both sides"
    )


def test_names_that_are_far_apart_or_of_other_quantities_may_differ() -> None:
    one = section("pressure", '"0.5 V", "4.5 V"', '"20 kPa", "105 kPa"', name="oil_1").replace("[target", "[donor")
    other = section("temperature", '"0.5 V", "4.5 V"', '"0 degC", "150 degC"', name="oil_2")
    third = section("pressure", '"0.5 V", "4.5 V"', '"20 kPa", "105 kPa"', name="map")
    job = with_lines(append=one + other + third)
    assert (set(job.donor.sensors), set(job.target.sensors)) == ({"oil_1"}, {"oil_2", "map"})


def test_scales_that_cannot_be_entered() -> None:
    job = with_lines(append='\n[target.settings]\ncannot_be_told = ["sensors"]\n')
    assert job.cannot_be_told == {"sensors"}


def test_a_job_without_sensors_has_none() -> None:
    job = with_lines()
    assert (job.donor.sensors, job.target.sensors) == ({}, {})
