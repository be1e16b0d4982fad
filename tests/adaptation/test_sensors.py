"""Errors, tables to enter and what is left between points, against closed forms and published values."""

from __future__ import annotations

import math

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.adaptation.sensors import _over
from basemap.model.job import Job
from basemap.model.sensor import SensorResult
from tests.builders.cases import each
from tests.builders.files import with_lines

# A coolant sensor's resistances as printed in a vehicle service manual of 2020, behind an invented pull-up.
PUBLISHED = """
kind = "temperature"
resistance = ["15971 ohm", "2044 ohm", "175.7 ohm"]
value = ["-20 degC", "25 degC", "100 degC"]
pull_up = "2490 ohm"
supply = "5 V"
"""


def points(side: str, name: str, kind: str, volts: list[float], values: list[str], more: str = "") -> str:
    listed = ", ".join(f'"{volt} V"' for volt in volts)
    quoted = ", ".join(f'"{value}"' for value in values)
    return f'\n[{side}.sensors.{name}]\nkind = "{kind}"\nvolts = [{listed}]\nvalue = [{quoted}]\n{more}\n'


def only(text: str, *lines: tuple[str, str]) -> SensorResult:
    job: Job = with_lines(*lines, append=text)
    (sensor,) = compute(job).sensors
    return sensor


def voltage(ohm: float) -> float:
    """Ohm's law, by hand."""
    return 5.0 * ohm / (ohm + 2490.0)


@pytest.mark.check_value
def test_a_published_thermistor_is_entered_at_its_published_temperatures() -> None:
    # The map's voltages are those of the other resistances of the same printed table: 0, 20, 40 and 80 °C.
    volts = [voltage(ohm) for ohm in (308.6, 1152.0, 2502.0, 5975.0)]
    text = points("donor", "ect", "temperature", volts, ["70 degC", "45 degC", "18 degC", "-5 degC"])
    sensor = only(text + "\n[target.sensors.ect]" + PUBLISHED)
    # The curve through three printed points meets the others within 0.01 K.
    assert [point.enter for point in sensor.points] == pytest.approx([80.0, 40.0, 20.0, 0.0], abs=0.01)
    assert [point.old for point in sensor.points] == pytest.approx([70.0, 45.0, 18.0, -5.0])
    assert [point.note for point in sensor.points] == [""] * 4


@pytest.mark.law
def test_the_largest_error_between_points_is_that_of_the_chord() -> None:
    """By brute force: ten thousand voltages between the points, straight against the printed curve's coefficients."""
    volts = [0.4, 1.5, 3.0, 4.2]
    text = points("donor", "ect", "temperature", volts, ["90 degC", "40 degC", "10 degC", "-10 degC"])
    sensor = only(text + "\n[target.sensors.ect]" + PUBLISHED)
    a, b, c = 1.3359490668572e-3, 2.5598084319383e-4, 1.50844817559e-7

    def celsius(volt: float) -> float:
        log = math.log(2490.0 * volt / (5.0 - volt))
        return 1.0 / (a + b * log + c * log**3) - 273.15

    worst = 0.0
    at = np.linspace(0.4, 4.2, 10_001)
    straight = np.interp(at, volts, [celsius(volt) for volt in volts])
    worst = max(abs(line - celsius(volt)) for line, volt in zip(straight, at, strict=True))
    left, entered = sensor.left_between, sensor.entered
    assert left is not None
    assert entered is not None
    # Ten thousand steps miss the top by some 1e-6 of it.
    assert abs(float(entered.error[left])) == pytest.approx(worst, rel=1e-5)


@pytest.mark.law
def test_a_wideband_in_closed_loop() -> None:
    """Held λ = 0.5 + V/5, fitted λ = 0.6 + V/5: true over read is (0.6 + V/5)/(0.5 + V/5)."""
    text = points("donor", "wideband", "lambda", [0.0, 5.0], ["0.5", "1.5"])
    text += points("target", "wideband", "lambda", [0.0, 5.0], ["0.6", "1.6"])
    reading = only(text).as_loaded
    assert reading is not None
    assert reading.lambda_ratio is not None
    assert reading.lambda_ratio == pytest.approx((0.6 + reading.volts / 5) / (0.5 + reading.volts / 5), rel=1e-12)
    assert reading.error == pytest.approx(-0.1, abs=1e-12)
    assert reading.ratio_ends(reading.judged) == pytest.approx((1.2 / 1.1, 0.7 / 0.6), rel=1e-9)


@pytest.mark.law
def test_the_two_bases_of_an_air_fuel_scale() -> None:
    """The same 10 to 20, meant for 14.7 and for 14.0: λ is off by 14.7/14.0, and the table in the map's own."""
    text = points("donor", "wideband", "air/fuel ratio", [0.0, 5.0], ["10", "20"], "basis = 14.7")
    text += points("target", "wideband", "air/fuel ratio", [0.0, 5.0], ["10", "20"], "basis = 14.0")
    sensor = only(text)
    assert sensor.as_loaded is not None
    assert sensor.as_loaded.lambda_ratio is not None
    assert sensor.as_loaded.lambda_ratio == pytest.approx(14.7 / 14.0, rel=1e-12)
    assert [point.enter for point in sensor.points] == pytest.approx([10.5, 21.0], rel=1e-11)
    assert sensor.shown.unit == "air/fuel"


@pytest.mark.law
def test_a_speed_density_map_meters_for_the_pressure_it_reads() -> None:
    text = points("donor", "map", "pressure", [0.0, 5.0], ["0 kPa", "100 kPa"])
    text += points("target", "map", "pressure", [0.0, 5.0], ["0 kPa", "250 kPa"])
    sensor = only(text)
    assert sensor.as_loaded is not None
    assert sensor.as_loaded.ratio_ends(sensor.as_loaded.judged) == pytest.approx((2.5, 2.5))
    assert [point.enter for point in sensor.points] == [0.0, 250.0]
    assert sensor.entered is not None
    assert np.abs(sensor.entered.error).max() < 1e-6


@pytest.mark.law
@each(("name", "has_ratio"), [("iat", True), ("ect", False)])
def test_the_charge_is_as_dense_as_it_is_cold(name: str, has_ratio: bool) -> None:
    text = points("donor", name, "temperature", [0.0, 5.0], ["310 K", "260 K"])
    text += points("target", name, "temperature", [0.0, 5.0], ["300 K", "250 K"])
    reading = only(text).as_loaded
    assert reading is not None
    if not has_ratio:
        assert reading.lambda_ratio is None
        return
    assert reading.lambda_ratio is not None
    assert reading.lambda_ratio == pytest.approx((310.0 - 10.0 * reading.volts) / (300.0 - 10.0 * reading.volts))


@pytest.mark.law
def test_beyond_the_makers_points_the_table_is_continued_and_says_so() -> None:
    text = points("donor", "map", "pressure", [0.0, 2.5, 5.0], ["0 kPa", "50 kPa", "100 kPa"])
    text += points("target", "map", "pressure", [0.5, 4.5], ["20 kPa", "100 kPa"])
    continued = "beyond the maker's points, continued"
    found = [(point.enter, point.note) for point in only(text).points]
    assert found == [(10.0, continued), (60.0, ""), (110.0, continued)]


@pytest.mark.law
def test_where_a_thermistor_can_give_no_voltage_the_entry_stays() -> None:
    text = points("donor", "ect", "temperature", [0.0, 2.5, 5.0], ["150 degC", "20 degC", "-40 degC"])
    sensor = only(text + "\n[target.sensors.ect]" + PUBLISHED)
    assert [(point.enter, point.note) for point in (sensor.points[0], sensor.points[2])] == [
        (150.0, "short or open circuit, as it was"),
        (-40.0, "short or open circuit, as it was"),
    ]


@pytest.mark.law
def test_a_map_that_holds_a_thermistor() -> None:
    """The same part behind a pull-up of half the size: at 2044 Ω each circuit has its own voltage."""
    text = "\n[donor.sensors.ect]" + PUBLISHED + "\n[target.sensors.ect]" + PUBLISHED.replace("2490", "1245")
    sensor = only(text)
    assert [point.volts for point in sensor.points] == pytest.approx([voltage(ohm) for ohm in (175.7, 2044, 15971)])
    assert [point.old for point in sensor.points] == pytest.approx([100.0, 25.0, -20.0], abs=1e-9)
    # At the voltage that 2044 Ω gave below 2490 Ω, the new circuit has 1022 Ω.
    a, b, c = 1.3359490668572e-3, 2.5598084319383e-4, 1.50844817559e-7
    log = math.log(1022.0)
    assert sensor.points[1].enter == pytest.approx(1.0 / (a + b * log + c * log**3) - 273.15, abs=1e-6)


@pytest.mark.law
def test_one_side_only_is_not_compared() -> None:
    one = only(points("donor", "map", "pressure", [0.0, 5.0], ["0 kPa", "100 kPa"]))
    assert (one.fitted, one.as_loaded, one.entered, one.points) == (None, None, None, ())
    other = only(points("target", "map", "pressure", [0.5, 4.5], ["20 kPa", "100 kPa"]))
    assert (other.held, other.as_loaded, other.entered) == (None, None, None)
    assert [(point.volts, point.old, point.enter) for point in other.points] == [(0.5, None, 20.0), (4.5, None, 100.0)]


def test_the_pressure_is_judged_from_the_lowest_row_to_the_peak() -> None:
    same = ["0 kPa", "250 kPa"]
    text = points("donor", "map", "pressure", [0.0, 5.0], same) + points("target", "map", "pressure", [0.0, 5.0], same)
    sensor = only(text)
    assert sensor.judged_between == (30_000.0, 101_325.0)
    assert sensor.as_loaded is not None
    judged = sensor.as_loaded.true[sensor.as_loaded.judged]
    assert (judged.min(), judged.max()) == pytest.approx((30_000.0, 101_325.0))


def test_the_numbers_of_the_fuel_do_not_move() -> None:
    text = points("donor", "map", "pressure", [0.0, 5.0], ["0 kPa", "100 kPa"])
    text += points("target", "map", "pressure", [0.0, 5.0], ["0 kPa", "250 kPa"])
    with_sensors, without = compute(with_lines(append=text)), compute(with_lines())
    assert np.array_equal(with_sensors.table.new, without.table.new)


@pytest.mark.law
def test_a_ratio_to_what_is_not_known_is_not_known() -> None:
    above, below = np.array([1.0, 1.0, np.nan, np.nan, 0.0, 1.0]), np.array([2.0, np.nan, 1.0, 0.0, 0.0, 0.0])
    np.testing.assert_array_equal(_over(above, below), [0.5, np.nan, np.nan, np.nan, np.nan, np.inf])
