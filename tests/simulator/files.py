"""Job file, table and log of a simulated car, as files of several shapes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tests.simulator.car import BAROMETER_KPA, KPA, RPM, VOLTS, Car, FloatArray, Hardware
from tests.simulator.drive import STEP_S, Drive


def write_job(car: Car, folder: Path, stem: str = "car", *, extra: str = "") -> Path:
    """Write STEM.toml with its table and its intended λ."""
    _grid(folder / f"{stem}_fuel.csv", 100.0 * car.table, 1)
    _grid(folder / f"{stem}_lambda.csv", car.intended, 4)
    likeness = f'likeness = "{car.likeness}"\n' if car.likeness else ""
    corrects = "true" if car.corrects_rail else "false"
    page = "same_as_hardware = true\n" if car.page_read else ""
    text = f"""# Invented data: no such car exists.
title = "A simulated car (invented data)"

[conditions]
barometer = "{BAROMETER_KPA} kPa"
charge_temperature = "40 degC"
battery = "13.8 V"

[donor]
state = "{car.state}"

[donor.settings]
{page}corrects_rail_pressure = {corrects}

[donor.tables.fuel]
file = "{stem}_fuel.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = "{stem}_lambda.csv"

[target.settings]
corrects_rail_pressure = {corrects}
"""
    text += _side("donor", car.donor, "") + _side("target", car.target, likeness) + extra
    path = folder / f"{stem}.toml"
    path.write_text(text, encoding="utf-8")
    return path


def _side(name: str, hardware: Hardware, likeness: str) -> str:
    volts = ", ".join(f'"{volt:g} V"' for volt in VOLTS)
    times = ", ".join(f'"{1e3 * time:.4f} ms"' for time in hardware.dead_time_s)
    return f"""
[{name}.engine]
displacement = "{1e6 * hardware.displacement_m3:.4f} cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
rev_limit = "6500 rpm"
{likeness}
[{name}.injectors]
static_flow = "{6e7 * hardware.flow_m3_s:.4f} cc/min"
rated_pressure = "{hardware.rated_pa / 1e5} bar"
rated_fluid = "n-heptane"

[{name}.injectors.dead_time]
battery = [{volts}]
time = [{times}]

[{name}.fuel]
stoichiometric = {hardware.stoichiometric}
density = "{hardware.density} kg/m3"
rail_pressure = "{hardware.rail_pa / 1e5} bar"
regulator = "{"fixed" if hardware.fixed_rail else "manifold"}"
"""


def _grid(path: Path, values: FloatArray, decimals: int) -> None:
    rows = ["kPa," + ",".join(f"{rpm:g}" for rpm in RPM)]
    rows += [
        f"{kpa:g}," + ",".join(f"{value:.{decimals}f}" for value in row) for kpa, row in zip(KPA, values, strict=True)
    ]
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def read_grid(path: Path) -> FloatArray:
    """The cells of a grid file that stands on the car's own axes, as fractions."""
    rows = [line.split(",")[1:] for line in path.read_text(encoding="utf-8").splitlines() if line[:1].isdigit()]
    return np.array([[float(cell) for cell in row] for row in rows]) / 100.0


@dataclass(frozen=True)
class Shape:
    """How a logger writes its file."""

    separator: str = ","
    decimal: str = "."
    units: str = "brackets"
    time: str = "s"
    rate_hz: float = 20.0
    slow: bool = False
    fuel_ratio_basis: float | None = None
    pulse: str | None = "ms"
    trim: bool = False
    preamble: str = ""
    fahrenheit: bool = False
    fuel_pressure: bool = False
    encoding: str = "utf-8"


SHAPES = {
    "plain": Shape(),
    "semicolons": Shape(";", ",", "row", "ms", fuel_ratio_basis=14.7, encoding="cp1252"),
    "tabs": Shape("\t", ".", "row", "clock", slow=True, preamble="drive of an invented car\nsecond line\n"),
    "slow": Shape(rate_hz=4.0, slow=True),
    "fast": Shape(rate_hz=50.0, time="ms"),
    "no pulse": Shape(pulse=None, trim=True),
    "fahrenheit": Shape(fahrenheit=True, fuel_pressure=True),
}


def write_log(drive: Drive, path: Path, shape: Shape | None = None, *, start_s: float = 0.0) -> Path:
    """Write a log; `start_s` is what its clock shows at the start."""
    shape = shape or Shape()
    every = max(1, round(1.0 / (shape.rate_hz * STEP_S)))
    at = np.arange(0, drive.time_s.size, every)
    columns = [(name, unit, write(values[at].tolist()))
               for name, unit, values, write in _columns(drive, shape, start_s)]  # fmt: skip
    slow_columns = ("battery", "coolant", "intake air")
    if shape.slow:
        often = max(1, round(shape.rate_hz))
        columns = [
            (name, unit, [cell if index % often == 0 else "" for index, cell in enumerate(cells)])
            if name in slow_columns else (name, unit, cells)
            for name, unit, cells in columns
        ]  # fmt: skip
    heads = [f"{name} [{unit}]" if shape.units == "brackets" and unit else name for name, unit, _ in columns]
    lines = [shape.separator.join(heads)]
    if shape.units == "row":
        lines.append(shape.separator.join(unit for _, unit, _ in columns))
    lines += [shape.separator.join(cells) for cells in zip(*(cells for _, _, cells in columns), strict=True)]
    path.write_bytes((shape.preamble + "\n".join(lines) + "\n").encode(shape.encoding))
    return path


Column = tuple[str, str, FloatArray, Callable[[list[float]], list[str]]]


def _columns(drive: Drive, shape: Shape, start_s: float) -> list[Column]:
    def number(decimals: int) -> Callable[[list[float]], list[str]]:
        def written(values: list[float]) -> list[str]:
            cells = list(map(f"%.{decimals}f".__mod__, values))
            return cells if shape.decimal == "." else [cell.replace(".", shape.decimal) for cell in cells]

        return written

    time: Column = {
        "s": ("time", "s", drive.time_s + start_s, number(3)),
        "ms": ("time", "ms", 1e3 * (drive.time_s + start_s), number(0)),
        "clock": ("time", "h:m:s", drive.time_s + start_s + 36_000.0, _clock),
    }[shape.time]
    ratio: Column = ("lambda", "", drive.lambda_read, number(3))
    if shape.fuel_ratio_basis is not None:
        ratio = ("air/fuel ratio", "", shape.fuel_ratio_basis * drive.lambda_read, number(2))
    warm = (lambda c: c * 1.8 + 32.0, "degF") if shape.fahrenheit else (lambda c: c, "degC")
    found: list[Column] = [
        time,
        ("engine speed", "rpm", drive.rpm, number(0)),
        ("manifold pressure", "kPa", drive.pressure_pa / 1e3, number(2)),
        ratio,
        ("battery", "V", drive.battery_v, number(2)),
        ("coolant", warm[1], warm[0](drive.coolant_c), number(1)),
        ("intake air", warm[1], warm[0](drive.charge_c), number(1)),
        ("throttle", "%", drive.throttle, number(1)),
    ]
    if shape.pulse is not None:
        found.append(("pulse width", "ms", 1e3 * drive.pulse_s, number(3)))
    if shape.trim:
        found.append(("closed-loop trim", "%", 100.0 * (drive.trim - 1.0), number(1)))
    if shape.fuel_pressure:
        found.append(("fuel pressure", "kPa", drive.fuel_pressure_pa / 1e3, number(0)))
    return found


def _clock(times: list[float]) -> list[str]:
    return [f"{int(at) // 3600:02d}:{int(at) // 60 % 60:02d}:{at - 60 * (int(at) // 60):06.3f}" for at in times]
