"""Simulated drives for these tests, each worked out once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from basemap.logs.log import Log, read_log
from basemap.model.drive import LogColumn
from tests.simulator.car import BAROMETER_KPA, Car, draw_car
from tests.simulator.drive import Drive, simulate
from tests.simulator.faults import with_fault
from tests.simulator.files import SHAPES, Shape, write_log

Column = Sequence[object] | NDArray[Any] | None

BAROMETER_PA = BAROMETER_KPA * 1e3
RATIO = {"air_fuel_ratio": LogColumn("air/fuel ratio", basis=14.7)}


@cache
def car(fault: str = "none", seed: int = 0) -> Car:
    """A car with one fault."""
    return with_fault(draw_car(seed), fault, seed)


@cache
def drive(fault: str = "none", seed: int = 0, seconds: float = 240.0) -> Drive:
    """A drive of it, with a warm start."""
    return simulate(car(fault, seed), seconds, seed, warm=True)


def read(folder: Path, shape: Shape | str = "plain", *, of: Drive | None = None) -> Log:
    """A drive as its log is read."""
    wanted = SHAPES[shape] if isinstance(shape, str) else shape
    path = write_log(of or drive(), folder / "log.csv", wanted)
    return read_log(path, RATIO if wanted.fuel_ratio_basis else {}, barometer_pa=BAROMETER_PA)


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
