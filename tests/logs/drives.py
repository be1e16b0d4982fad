"""Simulated drives for these tests, each worked out once, and as their logs are read."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from basemap.logs.log import Log, read_log
from basemap.model.drive import LogColumn
from basemap.model.installation import FloatArray
from tests.builders.once import once
from tests.simulator.car import BAROMETER_KPA, Car, draw_car
from tests.simulator.drive import STEP_S, Drive, simulate
from tests.simulator.faults import with_fault
from tests.simulator.files import SHAPES, Shape, write_log

Column = Sequence[object] | NDArray[Any] | None

BAROMETER_PA = BAROMETER_KPA * 1e3
RATIO = {"air_fuel_ratio": LogColumn("air/fuel ratio", basis=14.7)}


@once
def car(fault: str = "none", seed: int = 0) -> Car:
    """A car with one fault."""
    return with_fault(draw_car(seed), fault, seed)


@once
def drive(fault: str = "none", seed: int = 0, seconds: float = 240.0) -> Drive:
    """A drive of it, with a warm start."""
    return simulate(car(fault, seed), seconds, seed, warm=True)


def read(folder: Path, shape: Shape | str = "plain", *, of: Drive | None = None) -> Log:
    """A drive as its log is read."""
    wanted = SHAPES[shape] if isinstance(shape, str) else shape
    path = write_log(of or drive(), folder / "log.csv", wanted)
    return read_log(path, RATIO if wanted.fuel_ratio_basis else {}, barometer_pa=BAROMETER_PA)


def as_read(of: Drive, *, fuel_pressure: bool = False) -> Log:
    """What is read of a drive's log, without the text: `test_reading` holds it to be the same number for number."""
    every = max(1, round(1.0 / (Shape().rate_hz * STEP_S)))

    def written(values: FloatArray, decimals: int) -> FloatArray:
        return np.asarray(np.round(values[::every], decimals))

    return Log(
        file="log.csv",
        sha256=hashlib.sha256(of.lambda_read.tobytes() + of.battery_v.tobytes()).hexdigest(),
        time_s=written(of.time_s, 3),
        rpm=written(of.rpm, 0),
        manifold_pa=1e3 * written(of.pressure_pa / 1e3, 2),
        lambda_read=written(of.lambda_read, 3),
        battery_v=written(of.battery_v, 2),
        coolant_k=written(of.coolant_c, 1) + 273.15,
        charge_k=written(of.charge_c, 1) + 273.15,
        pulse_s=1e-3 * written(1e3 * of.pulse_s, 3),
        trim=None,
        throttle=written(of.throttle, 1),
        fuel_pressure_pa=1e3 * written(of.fuel_pressure_pa / 1e3, 0) if fuel_pressure else None,
        pulse_includes_dead_time=None,
        read_as=(),
        chosen={},
    )


def log_file(folder: Path, **columns: Column) -> Path:
    """A small log of columns by hand, 10 rows a second, 40 s of it; a column that is `None` is left out."""
    rows = 400
    plain: dict[str, Column] = {
        "time [s]": np.arange(rows) * 0.1,
        "engine speed [rpm]": np.full(rows, 2000.0) + np.arange(rows) % 7,
        "manifold pressure [kPa]": np.full(rows, 50.0) + 0.1 * (np.arange(rows) % 5),
        "lambda": 1.0 + 0.01 * np.sin(np.arange(rows)),
        "battery [V]": np.full(rows, 14.0),
        "coolant [degC]": np.full(rows, 85.0),
        "intake air [degC]": np.full(rows, 35.0),
        "pulse width [ms]": np.full(rows, 5.0),
    }
    chosen = {name: list(values) for name, values in {**plain, **columns}.items() if values is not None}
    lines = [",".join(chosen)]
    lines += [",".join(f"{value}" for value in row) for row in zip(*chosen.values(), strict=True)]
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
