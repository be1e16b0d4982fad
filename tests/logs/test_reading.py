"""Every shape of file is the same drive; what cannot be read is refused in one sentence."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.logs.log import read_log
from basemap.logs.stated_columns import read_stated
from basemap.model.drive import LogColumn
from tests.logs.drives import BAROMETER_PA, Column, as_read, drive, log_file, read
from tests.simulator.drive import STEP_S
from tests.simulator.files import SHAPES, Shape, write_log


def refusal(path: Path, **stated: LogColumn) -> str:
    with pytest.raises(InputError) as caught:
        read_log(path, stated, barometer_pa=BAROMETER_PA)
    return str(caught.value).replace(str(path), "LOG")


# Source: the simulated drive itself, before it was written. What is lost is decimals.
@pytest.mark.check_value
@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_is_the_same_drive(tmp_path: Path, shape: str) -> None:
    truth, log = drive(), read(tmp_path, shape)
    at = np.round(log.time_s / STEP_S).astype(int)
    assert np.abs(log.rpm - truth.rpm[at]).max() <= 0.51
    assert np.nanmax(np.abs(log.manifold_pa - truth.pressure_pa[at])) <= 5.1
    assert np.abs(log.lambda_read / truth.lambda_read[at] - 1.0).max() <= 0.0006
    assert np.nanmax(np.abs(log.coolant_k - 273.15 - truth.coolant_c[at])) <= 0.2
    assert np.nanmax(np.abs(log.charge_k - 273.15 - truth.charge_c[at])) <= 0.2
    if log.pulse_s is not None:
        assert np.abs(log.pulse_s - truth.pulse_s[at]).max() <= 0.51e-6
    known = np.isfinite(log.battery_v)
    assert known.mean() > 0.99
    steady = known & (log.time_s > 9.0)
    assert np.median(np.abs(log.battery_v - truth.battery_v[at])[steady]) <= 0.06


@pytest.mark.parametrize("fuel_pressure", [False, True])
def test_drives_that_need_no_text_are_what_is_read_of_it(tmp_path: Path, fuel_pressure: bool) -> None:
    of = drive("leak", 1)
    log, short = read(tmp_path, Shape(fuel_pressure=fuel_pressure), of=of), as_read(of, fuel_pressure=fuel_pressure)
    for name, values in vars(log).items():
        if name not in ("file", "sha256", "read_as", "chosen"):
            np.testing.assert_array_equal(getattr(short, name), values, err_msg=name)


def test_what_was_read_is_said(tmp_path: Path) -> None:
    said = read(tmp_path).read_as
    assert said[1].startswith("2 engine speed, 0 to ")
    assert said[3].startswith("4 lambda, 0.")


def test_a_log_without_headers_needs_its_columns_named(tmp_path: Path) -> None:
    path = log_file(tmp_path)
    path.write_text("\n".join(path.read_text().splitlines()[1:]) + "\n", encoding="utf-8")
    assert refusal(path) == (
        "LOG: has no engine speed, no manifold pressure, no battery voltage, no coolant temperature, no charge "
        'temperature: log them, or name their columns in [log.columns], rpm = { column = "…", unit = "…" }'
    )


def test_a_named_column_with_its_unit(tmp_path: Path) -> None:
    path = log_file(tmp_path, **{"lambda": None, "probe a": np.full(400, 0.9), "probe b": np.full(400, 1.1)})
    log = read_log(path, {"lambda": LogColumn("probe b")}, barometer_pa=BAROMETER_PA)
    assert log.lambda_read.tolist() == [1.1] * 400


def test_pressure_against_the_atmosphere(tmp_path: Path) -> None:
    path = log_file(tmp_path, **{"manifold pressure [kPa]": None, "manifold pressure [psi gauge]": np.full(400, -7.0)})
    log = read_log(path, {}, barometer_pa=BAROMETER_PA)
    # -7 psi is -48.263 kPa (NIST SP 811: 1 psi = 6894.757 Pa).
    assert log.manifold_pa[0] == pytest.approx(100_000.0 - 48_263.3, abs=0.1)


# By hand: 14.6 inHg is 49.44 kPa (NIST SP 811: 1 inHg = 3386.389 Pa); 29.53 inHg is the barometer of these drives.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("header", "first", "wide_open", "kpa"),
    [
        ("MAP (psia)", 7.25, 14.5, 49.987),
        ("boost (psi)", -7.0, 0.0, 51.737),
        ("boost (psig)", 7.0, 0.0, 148.263),
        ("MAP (inHg)", 14.6, 29.5, 49.441),
        ("MAP (inHg)", -14.6, 0.0, 50.559),
        ("MAP (inHg vacuum)", 14.6, 0.0, 50.559),
    ],
)
def test_pressures_count_from_what_the_unit_or_the_values_show(
    tmp_path: Path, header: str, first: float, wide_open: float, kpa: float
) -> None:
    values = np.full(400, first)
    values[200:] = wide_open
    log = read_log(
        log_file(tmp_path, **{"manifold pressure [kPa]": None, header: values}), {}, barometer_pa=BAROMETER_PA
    )
    assert log.manifold_pa[0] / 1e3 == pytest.approx(kpa, abs=0.002)


def test_clock_over_midnight(tmp_path: Path) -> None:
    clock: list[object] = [
        f"23:59:{59 if i < 10 else 0:02d}.{i % 10}" if i < 10 else f"00:00:{i // 10 - 1:02d}.{i % 10}"
        for i in range(400)
    ]
    path = log_file(tmp_path, **{"time [s]": None, "time [h:m:s]": clock})
    log = read_log(path, {}, barometer_pa=BAROMETER_PA)
    assert log.time_s[-1] == pytest.approx(39.9)


def test_a_gap_that_is_too_long_is_not_bridged(tmp_path: Path) -> None:
    volts: list[object] = [14.0] * 400
    volts[100:110] = [""] * 10
    volts[200:240] = [""] * 40
    log = read_log(log_file(tmp_path, **{"battery [V]": volts}), {}, barometer_pa=BAROMETER_PA)
    assert np.isfinite(log.battery_v[100:110]).all()
    assert np.isnan(log.battery_v[200:240]).all()


def test_a_faster_log_is_thinned(tmp_path: Path) -> None:
    path = log_file(tmp_path, **{"time [s]": np.arange(400) * 0.002})
    assert read_log(path, {}, barometer_pa=BAROMETER_PA).step_s == pytest.approx(0.01)


HEADERS = (
    ("time_s", "rpm", "map_kpa", "lambda", "battery_v", "coolant_degc", "intake_air_degc", "pulse_ms"),
    ("Time (s)", "Engine Speed (1/min)", "Manifold Pressure (kPa)", "Lambda (-)", "Battery Voltage (V)",
     "Coolant Temp (°C)", "Air Temp (°C)", "Injector Pulse (ms)"),
    ("t", "n", "MAP [kPa]", "wideband lambda", "volts", "ECT", "IAT", "injection time"),
    ("time / s", "speed / rpm", "manifold / kPa", "lambda", "battery / V", "water / degC", "inlet air / degC",
     "pulse / ms"),
    ("Time (sec)", "RPM", "MAP (kPa abs)", "Lambda 1", "VBAT (Volts)", "CLT (deg C)", "MAT (Celsius)", "PW (msec)"),
    ("t", "revs", "map_kpaa", "lambda", "u_batt", "t_coolant", "t_intake", "t_inj (ms)"),
)  # fmt: skip


@pytest.mark.parametrize("headers", HEADERS)
def test_headers_that_people_write(tmp_path: Path, headers: tuple[str, ...]) -> None:
    path = log_file(tmp_path)
    lines = path.read_text(encoding="utf-8").splitlines()
    path.write_text("\n".join([",".join(headers), *lines[1:]]) + "\n", encoding="utf-8")
    log = read_log(path, {}, barometer_pa=BAROMETER_PA)
    first = (log.rpm[0], log.manifold_pa[0], log.battery_v[0], log.coolant_k[0], log.charge_k[0])
    assert first == pytest.approx((2000.0, 50e3, 14.0, 358.15, 308.15))
    assert log.pulse_s is not None
    assert log.pulse_s[0] == pytest.approx(5e-3)


def test_what_was_wanted_is_not_what_was_measured(tmp_path: Path) -> None:
    log = read_log(log_file(tmp_path, **{"lambda target": np.full(400, 0.88)}), {}, barometer_pa=BAROMETER_PA)
    assert log.lambda_read.mean() == pytest.approx(1.0, abs=0.01)


REFUSED: dict[str, tuple[dict[str, Column], str]] = {
    "no lambda": (
        {"lambda": None},
        'LOG: has no lambda column: log the wideband, or name its column in [log.columns], lambda = { column = "…" }',
    ),
    "ratio without basis": (
        {"lambda": None, "air/fuel ratio": 14.7 + 0.1 * np.sin(np.arange(400))},
        'LOG: column 8 "air/fuel ratio" is an air/fuel ratio: give the ratio that its scale shows at lambda 1, '
        'air_fuel_ratio = { column = "air/fuel ratio", basis = 14.7 } in [log.columns]',
    ),
    "ratio of a fuel without basis": (
        {"lambda": None, "AFR [AFR petrol]": 14.7 + 0.1 * np.sin(np.arange(400))},
        'LOG: column 8 "AFR" is an air/fuel ratio: give the ratio that its scale shows at lambda 1, '
        'air_fuel_ratio = { column = "AFR", basis = 14.7 } in [log.columns]',
    ),
    "time backwards": (
        {"time [s]": np.concatenate([np.arange(200), np.arange(150, 350)]) * 0.1},
        "LOG: line 202: the time runs backwards, from 19.900 s to 15.000 s; export each drive as a separate log",
    ),
    "too slow": (
        {"time [s]": np.arange(400) * 1.0},
        "LOG: has 1.0 rows a second: expected 4 to 100; set the logger faster, with fewer channels if necessary",
    ),
    "two of a kind": (
        {"lambda": None, "lambda front": np.full(400, 0.9), "lambda rear": np.full(400, 0.9)},
        'LOG: column 8 "lambda front" and column 9 "lambda rear" may both be lambda: say which one it is in '
        "[log.columns]",
    ),
    "no battery": (
        {"battery [V]": None},
        'LOG: has no battery voltage: log it, or name its column in [log.columns], battery = { column = "…", unit = '
        '"…" }',
    ),
    "inches from which end": (
        {"manifold pressure [kPa]": None, "MAP [inHg]": 15.0 + 5.0 * np.sin(np.arange(400))},
        'LOG: column 8 "MAP" reads 10 to 20 inHg: say in [log.columns] what that is measured from, manifold_pressure '
        '= { column = "MAP", unit = "inHg absolute" }, or "inHg vacuum"',
    ),
    "pulse of microseconds": (
        {"pulse width [ms]": np.linspace(2000.0, 12000.0, 400)},
        'LOG: column 8 "pulse width" reads 2200 to 11800 ms, which no commanded pulse does: give its true unit in '
        '[log.columns], pulse = { column = "pulse width", unit = "…" }, or leave the column out',
    ),
    "battery that is not connected": (
        {"battery [V]": np.zeros(400)},
        "LOG: has no battery voltage (other columns: battery [V]): log it, or name its column in [log.columns], "
        'battery = { column = "…", unit = "…" }',
    ),
    "coolant of Fahrenheit": (
        {"coolant [degC]": np.linspace(165.0, 195.0, 400)},
        'LOG: column 6 "coolant" reads 165.6 to 194.4 degC, which no coolant temperature does: give its true unit in '
        '[log.columns], coolant_temperature = { column = "coolant", unit = "…" }, or leave the column out',
    ),
    "unit that is none": (
        {"coolant [degC]": None, "coolant [furlong]": np.full(400, 85.0)},
        "LOG: has no coolant temperature (other columns: coolant [furlong]): log it, or name its column in "
        '[log.columns], coolant_temperature = { column = "…", unit = "…" }',
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_refusals(tmp_path: Path, case: str) -> None:
    columns, message = REFUSED[case]
    assert refusal(log_file(tmp_path, **columns)) == message


def test_both_decimal_marks_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    write_log(drive(), path, Shape(";", ","))
    lines = path.read_text().splitlines()
    lines[20] = lines[20].replace(",", ".")
    path.write_text("\n".join(lines), encoding="utf-8")
    assert "use the same decimal mark in the whole file" in refusal(path)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "LOG: is empty: expected a log of a drive"),
        (b"a\x00b", "LOG: is not text: export the log as comma-separated text"),
        (b"one line\n", "LOG: no columns were found: expected one row per moment, with cells separated by commas, "
         "semicolons, tabs or spaces"),
        (b"a,b,c\nd,e,f\ng,h,i\n", "LOG: has no rows of numbers: expected a header and then one row per moment"),
    ],
)  # fmt: skip
def test_files_that_are_no_log(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    assert refusal(path) == message


def test_missing_and_other_files(tmp_path: Path) -> None:
    assert refusal(tmp_path / "none.csv") == "LOG: no such file: expected a log of a drive"
    folder = tmp_path / "folder.csv"
    folder.mkdir()
    assert refusal(folder) == "LOG: is a folder: expected a log of a drive"
    assert refusal(tmp_path / "log.xlsx") == "LOG: expected a log as .csv, .tsv or .txt text: export it as one"


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="a device that never ends")
def test_columns_from_what_never_ends() -> None:
    with pytest.raises(InputError, match=r"^/dev/zero: this is a pipe or a device: expected a plain file$"):
        read_stated(Path("/dev/zero"))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("rmp = { column = 'x' }", "rmp: is not a channel; did you mean rpm?"),
        ("rpm = 'x'", 'rpm: expected an entry such as rpm = { column = "engine speed", unit = "rpm" }'),
        ("rpm = { column = 'x', unti = 'y' }",
         'rpm: "unti" is not a key: expected basis, column, dead_time_included, unit'),
        ("pulse = { column = 'x', unit = 'V' }", 'pulse: "V" is not a unit of commanded pulse: expected ms, us, s'),
        ("pulse = { column = 'x', dead_time_included = 1 }", "pulse: dead_time_included: expected true or false"),
        ("lambda = { column = 'x', basis = 'y' }",
         "lambda: basis: expected the ratio that the scale shows at lambda 1, such as 14.7"),
    ],
)  # fmt: skip
def test_columns_that_cannot_be_used(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "columns.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_stated(path)
    assert str(caught.value) == f"{path}: {message}"


def test_columns_are_said_in_their_own_order_however_they_were_recognised(tmp_path: Path) -> None:
    """By header first, else by unit and range: the reader compares them with the file from left to right."""
    log = read_log(log_file(tmp_path, **{"N [rpm]": np.full(400, 2100.0), "engine speed [rpm]": None}), {},
                   barometer_pa=BAROMETER_PA)  # fmt: skip
    numbers = [int(one.split()[0]) for one in log.read_as]
    assert numbers == sorted(numbers)


def test_a_column_that_is_not_there(tmp_path: Path) -> None:
    mend = "correct [log.columns], or say what this log's columns are in a file for --columns"
    assert refusal(log_file(tmp_path), rpm=LogColumn("engine sped")) == (
        f'LOG: has no column "engine sped" for engine speed; the nearest is "engine speed": {mend}'
    )
    has = "time [s], engine speed [rpm], manifold pressure [kPa], lambda, battery [V], coolant [degC], intake air"
    assert refusal(log_file(tmp_path), rpm=LogColumn("N")) == (
        f'LOG: has no column "N" for engine speed; it has {has} [degC], pulse width [ms]: {mend}'
    )


def test_columns_stand_at_the_top_or_in_their_section(tmp_path: Path) -> None:
    path = tmp_path / "columns.toml"
    for text in ("rpm = { column = 'n' }", "[log.columns]\nrpm = { column = 'n' }"):
        path.write_text(text, encoding="utf-8")
        assert read_stated(path) == {"rpm": LogColumn("n")}


def test_lines_with_too_many_cells_are_counted(tmp_path: Path) -> None:
    path = log_file(tmp_path)
    lines = path.read_text(encoding="utf-8").splitlines()
    lines[50] += ",1,2"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    said = read_log(path, {}, barometer_pa=BAROMETER_PA).read_as
    assert said[-1] == "1 line has more cells than there are columns and was left out"
