"""Quantities as text: values, spreads, references, refusals."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from basemap.adaptation.quantities.kinds import Kind
from basemap.errors import InputError
from basemap.jobfile.quantities import Measured, axis_scale, parse_quantity
from tests.builders.cases import each

PSI = 6894.757293168
"""Pa. 0.45359237 · 9.80665 / 0.0254², as the CRC handbook prints it: 6894.757."""


def read(text: object, kind: Kind, barometer_pa: float | None = None) -> Measured:
    return parse_quantity(text, kind, file=None, place=None, barometer_pa=barometer_pa)


def refused(text: object, kind: Kind) -> str:
    with pytest.raises(InputError) as caught:
        read(text, kind)
    return str(caught.value)


@pytest.mark.law
@each(
    ("written", "plain", "kind"),
    [
        ("2 litre", "2 l", Kind.VOLUME),
        ("1998 ccm", "1998 cc", Kind.VOLUME),
        ("43.5 PSI ± 2 PSI", "43.5 psi ± 2 psi", Kind.RAIL_PRESSURE),
        ("3 Bar", "3 bar", Kind.RAIL_PRESSURE),
        ("17.4 PSI abs", "17.4 psi absolute", Kind.ABSOLUTE_PRESSURE),
        ("100 KPA", "100 kPa", Kind.ABSOLUTE_PRESSURE),
        ("7000 RPM", "7000 rpm", Kind.SPEED),
        ("24 lbs/hr", "24 lb/h", Kind.FLOW),
        ("122 cu in", "122 cuin", Kind.VOLUME),
        ("122 cu. in.", "122 cuin", Kind.VOLUME),
        ("122 cubic inches", "122 cuin", Kind.VOLUME),
        ("280 ccm/minute", "280 cc/min", Kind.FLOW),
        ("0.9 msec", "0.9 ms", Kind.TIME),
        ("13.8 volts", "13.8 V", Kind.VOLTAGE),
        ("140 HP @ 6500 RPM", "140 hp @ 6500 rpm", Kind.POWER_AT_SPEED),
    ],
)
def test_what_people_write_for_a_unit_is_that_unit(written: str, plain: str, kind: Kind) -> None:
    one, other = read(written, kind), read(plain, kind)
    assert (one.value, one.half_width, one.reference, one.second and one.second.value) == (
        *(other.value, other.half_width, other.reference),
        other.second and other.second.value,
    )


@pytest.mark.parametrize("text", ["900 MS", "3 Mv", "1998 CCC", "3 MPA"])
def test_case_that_would_mean_another_size_is_not_guessed(text: str) -> None:
    kind = {"MS": Kind.TIME, "Mv": Kind.VOLTAGE, "CCC": Kind.VOLUME, "MPA": Kind.RAIL_PRESSURE}[text.split()[1]]
    assert "unknown unit" in refused(text, kind)


@pytest.mark.check_value
@each(
    ("text", "kind", "si"),
    [
        # Definitions: the litre and cubic centimetre of the SI, the international inch and pound, CRC handbook.
        ("1998 cc", Kind.VOLUME, 1.998e-3),
        ("1.998 l", Kind.VOLUME, 1.998e-3),
        ("1998 cm³", Kind.VOLUME, 1.998e-3),
        ("122 cuin", Kind.VOLUME, 122 * 0.0254**3),
        ("43.5 psi", Kind.RAIL_PRESSURE, 299921.9422528),
        ("29.92126 inHg", Kind.BAROMETER, 101325.03),
        ("760 mmHg", Kind.BAROMETER, 101325.0),
        ("1013.25 hPa", Kind.BAROMETER, 101325.0),
        ("1013.25 mbar", Kind.BAROMETER, 101325.0),
        ("40 degC", Kind.TEMPERATURE, 313.15),
        ("40 °C", Kind.TEMPERATURE, 313.15),
        ("104 degF", Kind.TEMPERATURE, 313.15),
        ("-40 degF", Kind.TEMPERATURE, 233.15),
        ("313.15 K", Kind.TEMPERATURE, 313.15),
        ("13500 mV", Kind.VOLTAGE, 13.5),
        ("900 us", Kind.TIME, 0.9e-3),
        ("900 µs", Kind.TIME, 0.9e-3),
        ("60 cc/min", Kind.FLOW, 1e-6),
        ("3.6 l/h", Kind.FLOW, 1e-6),
        ("1 lb/h", Kind.FLOW, 0.45359237 / 3600),
        ("60 g/min", Kind.FLOW, 1e-3),
        ("0.72 g/cc", Kind.DENSITY, 720.0),
        ("720 kg/m³", Kind.DENSITY, 720.0),
        ("7000 rpm", Kind.SPEED, 7000.0),
        ("1148.294 ft", Kind.LENGTH, 350.0000112),
        ("4.2 mg", Kind.MASS, 4.2e-6),
        ("1 oz", Kind.MASS, 0.028349523125),
    ],
)
def test_values(text: str, kind: Kind, si: float) -> None:
    # inHg and mmHg are conventional: 29.92126 inHg agrees to 1e-6, all others are exact definitions.
    assert read(text, kind).value == pytest.approx(si, rel=1e-6 if "Hg" in text else 1e-12)


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("text", "watt", "rpm"),
    [
        # 745.69987 W and 735.49875 W: NIST SP 811, appendix B.8.
        ("104 kW @ 6500 rpm", 104e3, 6500.0),
        ("100 hp @ 6000 rpm", 74569.987, 6000.0),
        ("100 PS @ 6000 rpm", 73549.875, 6000.0),
    ],
)
def test_a_power_at_a_speed(text: str, watt: float, rpm: float) -> None:
    power = read(text, Kind.POWER_AT_SPEED)
    assert power.second is not None
    assert power.value == pytest.approx(watt, rel=1e-8)
    assert power.second.value == rpm
    assert power.text == text


@pytest.mark.law
@each(
    ("text", "pascal"),
    [
        ("35 kPa", 35e3),
        ("35 kPa absolute", 35e3),
        ("35 kPa gauge", 135e3),
        ("35 kPa vacuum", 65e3),
        ("1.2 bar absolute", 120e3),
        ("-10 psi gauge", 100e3 - 10 * PSI),
        ("12 psi gauge", 100e3 + 12 * PSI),
    ],
)
def test_a_pressure_refers_to_the_barometer_of_its_side(text: str, pascal: float) -> None:
    assert read(text, Kind.ABSOLUTE_PRESSURE, barometer_pa=100e3).value == pytest.approx(pascal, rel=1e-12)


@pytest.mark.law
def test_a_spread_does_not_move_with_the_reference() -> None:
    gauge = read("12 psi gauge ± 1", Kind.ABSOLUTE_PRESSURE)
    assert gauge.reference == "gauge"
    assert gauge.absolute(100e3).half_width == gauge.half_width == pytest.approx(PSI, rel=1e-12)
    assert gauge.absolute(100e3).absolute(90e3) == gauge.absolute(100e3)


@each(
    ("text", "kind", "half_width", "k2"),
    [
        ("280 cc/min", Kind.FLOW, None, False),
        ("280 cc/min ± 3 %", Kind.FLOW, 0.03 * 280e-6 / 60, False),
        ("280 cc/min ± 6", Kind.FLOW, 6e-6 / 60, False),
        ("280 cc/min +/- 6 cc/min k=2", Kind.FLOW, 6e-6 / 60, True),
        ("280 cc/min ± 0.36 l/h k = 2", Kind.FLOW, 0.1e-6, True),
        ("280cc/min±6cc/min", Kind.FLOW, 6e-6 / 60, False),
        ("3.0 bar ± 10 kPa", Kind.RAIL_PRESSURE, 10e3, False),
        ("12 psi gauge ± 10 kPa", Kind.ABSOLUTE_PRESSURE, 10e3, False),
        ("40 degC ± 9 degF", Kind.TEMPERATURE, 5.0, False),
        ("104 degF ± 20", Kind.TEMPERATURE, 100.0 / 9.0, False),
        ("40 degC ± 5 K", Kind.TEMPERATURE, 5.0, False),
        ("0.85 ms ± 0", Kind.TIME, 0.0, False),
        ("78 ± 3", Kind.PERCENT, 0.03, False),
        ("78 % ± 3 %", Kind.PERCENT, 0.03, False),
        ("14.6 ± 1 %", Kind.NUMBER, 0.146, False),
        ("14.6 ± 0.1 k=2", Kind.NUMBER, 0.1, True),
    ],
)
def test_spreads(text: str, kind: Kind, half_width: float | None, k2: bool) -> None:
    measured = read(text, kind)
    assert measured.half_width == (None if half_width is None else pytest.approx(half_width, rel=1e-12))
    assert measured.k2 is k2


FLOW_UNITS = {"cc/min": 1e-6 / 60, "l/h": 1e-3 / 3600, "lb/h": 0.45359237 / 3600, "g/s": 1e-3}
NUMBERS = st.floats(0.01, 1e5).map(lambda number: float(f"{number:.6g}"))


@pytest.mark.law
@given(value=NUMBERS, spread=NUMBERS, unit=st.sampled_from(sorted(FLOW_UNITS)), k2=st.booleans())
def test_any_spread_in_the_unit_of_the_value(value: float, spread: float, unit: str, k2: bool) -> None:
    measured = read(f"{value!r} {unit} ± {spread!r}{' k=2' if k2 else ''}", Kind.FLOW)
    assert measured.value == pytest.approx(value * FLOW_UNITS[unit], rel=1e-12)
    assert measured.half_width == pytest.approx(spread * FLOW_UNITS[unit], rel=1e-12)
    assert (measured.shown, measured.unit, measured.k2) == (value, unit, k2)
    assert measured.is_mass is (unit in ("lb/h", "g/s"))


@pytest.mark.law
@given(value=NUMBERS, percent=st.floats(0.0, 100.0), sign=st.sampled_from(["±", "+/-"]))
def test_any_spread_in_per_cent_is_a_share_of_the_value(value: float, percent: float, sign: str) -> None:
    measured = read(f"{value!r} bar {sign} {percent!r} %", Kind.RAIL_PRESSURE)
    assert measured.half_width == pytest.approx(percent / 100 * measured.value, rel=1e-9, abs=1e-300)


@pytest.mark.law
@given(celsius=st.floats(-60, 150), spread=st.floats(0, 50))
def test_a_spread_of_a_temperature_is_a_difference(celsius: float, spread: float) -> None:
    in_celsius = read(f"{celsius!r} degC ± {spread!r}", Kind.TEMPERATURE)
    fahrenheit, difference = celsius * 9 / 5 + 32, spread * 9 / 5
    in_fahrenheit = read(f"{fahrenheit!r} degF ± {difference!r}", Kind.TEMPERATURE)
    assert in_celsius.half_width == pytest.approx(spread, rel=1e-12, abs=1e-300)
    assert in_fahrenheit.half_width == pytest.approx(spread, rel=1e-12, abs=1e-300)
    assert in_fahrenheit.value == pytest.approx(in_celsius.value, rel=1e-12)


def test_one_flow_as_mass_and_as_volume() -> None:
    flow = read("24 lb/h = 252 cc/min ± 3 % k=2", Kind.FLOW)
    assert flow.second is not None
    assert (flow.is_mass, flow.second.is_mass, flow.k2) == (True, False, True)
    assert flow.half_width == pytest.approx(0.03 * flow.value, rel=1e-12)
    assert read("252 cc/min ± 3 % k=2 = 24 lb/h", Kind.FLOW).k2


def test_a_flow_with_an_expanded_uncertainty_is_no_pair() -> None:
    assert read("252 cc/min ± 3 % k=2", Kind.FLOW).second is None


@each(
    ("text", "kind", "message"),
    [
        (1998, Kind.VOLUME, '"1998" has no unit: write it with one, such as "1998 cc"'),
        (True, Kind.VOLUME, 'must be a volume such as "1998 cc"'),
        ([1], Kind.NUMBER, "must be a number such as 14.6"),
        ("", Kind.VOLUME, '"" is not a volume such as "1998 cc"'),
        ("about 2 l", Kind.VOLUME, '"about 2 l" is not a volume such as "1998 cc"'),
        ("1e999 cc", Kind.VOLUME, '"1e999 cc" is too large to be a volume'),
        ("2,5 bar", Kind.RAIL_PRESSURE, '"2,5 bar": use a decimal point, not a comma: write 2.5'),
        (
            "1,998 cc",
            Kind.VOLUME,
            '"1,998 cc": a comma is neither a decimal point nor a thousands separator: write 1.998 or 1998',
        ),
        ("1998 ccs", Kind.VOLUME, '"1998 ccs": unknown unit "ccs"; did you mean "cc"?'),
        ("280 cc/mins", Kind.FLOW, '"280 cc/mins": unknown unit "mins"; did you mean "min"?'),
        ("3 furlong", Kind.LENGTH, '"3 furlong": unknown unit "furlong"; write it as in "350 m"'),
        ("2 m**3", Kind.VOLUME, '"2 m**3": unknown unit "m**3"; did you mean "m3"?'),
        ("100 F", Kind.TEMPERATURE, '"100 F": unknown unit "F"; did you mean "degF"?'),
        ("40 Celsius", Kind.TEMPERATURE, '"40 Celsius": unknown unit "Celsius"; did you mean "degC"?'),
        ("40 degC", Kind.VOLUME, '"40 degC" is a temperature, not a volume such as "1998 cc"'),
        ("3 kW", Kind.TIME, '"3 kW" is a power, not a time such as "0.85 ms"'),
        ("3 kg/V", Kind.TIME, '"3 kg/V" is another quantity, not a time such as "0.85 ms"'),
        (
            "12 psi",
            Kind.ABSOLUTE_PRESSURE,
            '"12 psi" must say which kind of pressure it is: "psi absolute", "psi gauge" or "psi vacuum"',
        ),
        (
            "4 bar absolute",
            Kind.RAIL_PRESSURE,
            '"4 bar absolute": this pressure is always gauge (above the air around the engine): give it as gauge',
        ),
        (
            "0 kPa gauge",
            Kind.BAROMETER,
            '"0 kPa gauge": the barometer is always an absolute pressure: give the station pressure',
        ),
        ("12 V gauge", Kind.VOLTAGE, '"12 V gauge": "gauge" is only for a pressure'),
        (
            "40 degC ± 5 %",
            Kind.TEMPERATURE,
            '"40 degC ± 5 %": a temperature cannot have a spread in %: give a difference, such as "± 5 degC"',
        ),
        ("40 degC ± 5 V", Kind.TEMPERATURE, '"40 degC ± 5 V": give the spread of a temperature in K, degC or degF'),
        ("3 bar ± -1", Kind.RAIL_PRESSURE, '"3 bar ± -1": a spread must not be negative'),
        (
            "3 bar ± 1 k=3",
            Kind.RAIL_PRESSURE,
            '"3 bar ± 1 k=3": give the spread as a half-width, or as an expanded uncertainty with k=2',
        ),
        (
            "280 cc/min ± 3 g/min",
            Kind.FLOW,
            '"280 cc/min ± 3 g/min": give the spread in a unit of the same kind as the value, or in %',
        ),
        ("14.6 ± 1 V", Kind.NUMBER, '"14.6 ± 1 V": give the spread in the unit of the value'),
        ("14.6 V", Kind.NUMBER, '"14.6 V" must be a number without a unit, such as 14.6'),
        (
            "280 cc/min = 0.28 l/min",
            Kind.FLOW,
            '"280 cc/min = 0.28 l/min" must state one flow twice, once as mass and once as volume: "24 lb/h = 252 '
            'cc/min"',
        ),
        (
            "24 lb/h ± 1 % = 252 cc/min ± 1 %",
            Kind.FLOW,
            '"24 lb/h ± 1 % = 252 cc/min ± 1 %" gives two spreads for one flow: give it once',
        ),
        (
            "900 rpm",
            Kind.SPEED_AT_PRESSURE,
            '"900 rpm" is not a speed at a manifold pressure such as "900 rpm @ 35 kPa"',
        ),
        (
            "unknown",
            Kind.VOLUME,
            'must not be "unknown", as there is no default: give the value, or leave the key out if it is optional',
        ),
    ],
)
def test_refusals(text: object, kind: Kind, message: str) -> None:
    assert refused(text, kind) == message


def test_a_refusal_names_file_and_place() -> None:
    with pytest.raises(InputError) as caught:
        parse_quantity("3 V", Kind.TIME, file="van.toml", place="donor.injectors.shortest_pulse")
    assert str(caught.value) == (
        'van.toml: donor.injectors.shortest_pulse: "3 V" is a voltage, not a time such as "0.85 ms"'
    )


@pytest.mark.law
@given(st.text(max_size=30), st.sampled_from(Kind))
def test_any_text_is_read_or_refused_in_a_sentence(text: str, kind: Kind) -> None:
    try:
        measured = read(text, kind)
    except InputError as error:
        assert error.problem  # noqa: PT017 - either outcome is fine, any other exception is not
    else:
        assert measured.text == text


@pytest.mark.parametrize(
    ("unit", "size", "reference"),
    [
        ("kPa", 1e3, "absolute"),
        ("bar absolute", 1e5, "absolute"),
        ("psi gauge", PSI, "gauge"),
        ("inHg vacuum", 3386.38864034, "vacuum"),
    ],
)
def test_the_unit_of_an_axis(unit: str, size: float, reference: str) -> None:
    found, refers_to = axis_scale(unit)
    assert found == pytest.approx(size, rel=1e-10)
    assert refers_to == reference
