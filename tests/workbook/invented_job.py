"""Jobs for what the workbook needs, all invented: any size, either kind of table, through the job reader itself.

A job is a mapping as a job file would give it, so that a test can change one key and run it again.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from basemap.adaptation.pipeline import adapt
from basemap.jobfile.load import build_job
from basemap.model.result import Result

Data = dict[str, Any]
Grid = NDArray[np.float64]

FUEL_FILE, LAMBDA_FILE = "fuel.csv", "lambda.csv"

_BASE: Data = {
    "title": "Quay crane: 2.0 map onto the 2.4 (invented)",
    "conditions": {"barometer": "100.9 kPa", "charge_temperature": "42 degC", "battery": "13.4 V"},
    "donor": {
        "state": "tuned",
        "engine": {
            "displacement": "1990 cc", "cylinders": 4, "cycle": "four-stroke", "induction": "atmospheric", "rev_limit": "7000 rpm",
        },
        "injectors": {
            "static_flow": "285 cc/min ± 3 %", "rated_pressure": "3.0 bar", "rated_fluid": "0.70 g/cc", "per_cylinder": 1,
            "openings_per_cycle": 1,
            "dead_time": {
                "battery": ["8 V", "11 V", "13 V", "15 V"], "time": ["2.40 ms", "1.45 ms", "1.02 ms", "0.74 ms"],
            },
        },
        "fuel": {"blend": "E10", "rail_pressure": "3.1 bar", "regulator": "manifold", "temperature": "38 degC"},
        "tables": {
            "fuel": {
                "file": FUEL_FILE, "unit": "%", "quantity": "volumetric efficiency", "load": "manifold pressure", "load_unit": "kPa",
                "lambda": 0.93,
            },
        },
    },
    "target": {
        "engine": {
            "displacement": "2410 cc", "cylinders": 4, "cycle": "four-stroke", "induction": "atmospheric", "rev_limit": "6500 rpm",
        },
        "injectors": {
            "static_flow": "610 cc/min", "rated_pressure": "3.5 bar", "rated_fluid": "0.69 g/cc", "per_cylinder": 1,
            "openings_per_cycle": 1, "shortest_pulse": "1.2 ms",
            "dead_time": {
                "battery": ["9 V", "12 V", "14 V", "16 V"], "time": ["2.30 ms", "1.30 ms", "0.95 ms", "0.78 ms"],
            },
        },
        "fuel": {"blend": "E85", "rail_pressure": "3.6 bar", "regulator": "fixed", "temperature": "44 degC"},
    },
}  # fmt: skip


def job_data(changes: Mapping[str, Any] | None = None) -> Data:
    """A VE job onto another fuel and a fixed rail, with some keys changed.

    `changes` gives values by dotted key; `None` takes a key out.
    """
    data = copy.deepcopy(_BASE)
    for key, value in (changes or {}).items():
        set_key(data, key, value)
    return data


def set_key(data: Data, key: str, value: Any) -> None:
    """Set a dotted key, making its sections; `None` takes it out."""
    *sections, last = key.split(".")
    for section in sections:
        data = data.setdefault(section, {})
    if value is None:
        data.pop(last, None)
    else:
        data[last] = copy.deepcopy(value)  # or two sections would share it


def speeds(count: int) -> Grid:
    return np.asarray(np.round(np.linspace(600.0, 7200.0, count), -1))


def loads_kpa(count: int) -> Grid:
    return np.asarray(np.round(np.linspace(20.0, 104.0, count), 1))


def ve_percent(rows: int, cols: int) -> Grid:
    """A smooth hill."""
    load, rpm = loads_kpa(rows)[:, np.newaxis], speeds(cols)[np.newaxis, :]
    hill = 38.0 + 0.48 * load - 0.0008 * (load - 60.0) ** 2 + 6.0 * np.exp(-(((rpm - 4200.0) / 1900.0) ** 2))
    return np.asarray(np.round(hill, 1))


def pulse_ms(rows: int, cols: int) -> Grid:
    """The same hill as whole pulses of some engine, dead time included."""
    load = loads_kpa(rows)[:, np.newaxis]
    return np.asarray(np.round(0.9 + ve_percent(rows, cols) * load / 780.0, 3))


def fuel_cells(rows: int, cols: int, *, pulses: bool) -> Grid:
    return pulse_ms(rows, cols) if pulses else ve_percent(rows, cols)


def intended_lambda(rows: int, cols: int) -> Grid:
    load = loads_kpa(rows)[:, np.newaxis]
    return np.asarray(np.round(np.where(load > 85.0, 0.88, np.where(load > 60.0, 0.95, 1.0)) + np.zeros((1, cols)), 3))


def write_grid(path: Path, values: Grid, load: Grid | None = None) -> None:
    """Write a table as a donor's file."""
    rows, cols = values.shape
    load = loads_kpa(rows) if load is None else load
    lines = [",".join(["load", *(f"{rpm:g}" for rpm in speeds(cols))])]
    lines += [",".join([f"{at:g}", *(f"{value:.12g}" for value in row)]) for at, row in zip(load, values, strict=True)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_tables(
    folder: Path, rows: int = 16, cols: int = 16, *, pulses: bool = False, load: Grid | None = None
) -> None:
    """Write the fuel table, and a lambda table beside it, into a folder."""
    write_grid(folder / FUEL_FILE, fuel_cells(rows, cols, pulses=pulses), load)
    write_grid(folder / LAMBDA_FILE, intended_lambda(rows, cols), load)


def result_of(data: Data, folder: Path) -> Result:
    """Run a job whose tables lie in a folder."""
    return adapt(build_job(data, folder, "quay_crane.toml"))


def make_result(folder: Path, changes: Mapping[str, Any] | None = None, rows: int = 16, cols: int = 16) -> Result:
    """The answer to the invented job, some keys changed."""
    write_tables(folder, rows, cols)
    return result_of(job_data(changes), folder)
