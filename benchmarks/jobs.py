"""The jobs that are measured, all invented: one of 16 by 16 cells, and the same with as many cells as wanted."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from basemap.jobfile.load import load_job
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.table import FuelTable

NAME = "quay_crane.toml"
JOB = """\
title = "Quay crane: 2.0 map onto the 2.4 (invented data)"

[conditions]
barometer = "100.9 kPa"
charge_temperature = "42 degC"
battery = "13.4 V"

[donor]
state = "tuned"

[donor.engine]
displacement = "1990 cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
rev_limit = "7000 rpm"

[donor.injectors]
static_flow = "285 cc/min ± 3 %"
rated_pressure = "3.0 bar"
rated_fluid = "0.70 g/cc"
per_cylinder = 1
openings_per_cycle = 1
dead_time = { battery = ["8 V", "11 V", "13 V", "15 V"], time = ["2.40 ms", "1.45 ms", "1.02 ms", "0.74 ms"] }

[donor.fuel]
blend = "E10"
rail_pressure = "3.1 bar"
regulator = "manifold"
temperature = "38 degC"

[donor.tables.fuel]
file = "fuel.csv"
quantity = "volumetric efficiency"
unit = "%"
load = "manifold pressure"
load_unit = "kPa"
lambda = "lambda.csv"

[target.engine]
displacement = "2410 cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
rev_limit = "6500 rpm"

[target.injectors]
static_flow = "610 cc/min"
rated_pressure = "3.5 bar"
rated_fluid = "0.69 g/cc"
per_cylinder = 1
openings_per_cycle = 1
shortest_pulse = "1.2 ms"
dead_time = { battery = ["9 V", "12 V", "14 V", "16 V"], time = ["2.30 ms", "1.30 ms", "0.95 ms", "0.78 ms"] }

[target.fuel]
blend = "E85"
rail_pressure = "3.6 bar"
regulator = "fixed"
temperature = "44 degC"
"""


def write_job(folder: Path, size: int = 16) -> Path:
    """Write the job and its two tables; return the job file."""
    _write_tables(folder, size, "fuel.csv", "lambda.csv", 1.0)
    job = folder / NAME
    job.write_text(JOB, encoding="utf-8")
    return job


def write_donors(folder: Path, count: int) -> None:
    """Write so many jobs, each with two tables of its own and an engine that breathes a little better than the last."""
    for number in range(count):
        fuel, lambda_ = f"fuel_{number:04d}.csv", f"lambda_{number:04d}.csv"
        _write_tables(folder, 16, fuel, lambda_, 0.9 + 0.15 * number / count)
        job = JOB.replace('"fuel.csv"', f'"{fuel}"').replace('"lambda.csv"', f'"{lambda_}"')
        (folder / f"donor_{number:04d}.toml").write_text(job, encoding="utf-8")


def _write_tables(folder: Path, size: int, fuel: str, lambda_: str, breathing: float) -> None:
    rpm, load = np.round(np.linspace(600.0, 7200.0, size), -1), np.round(np.linspace(20.0, 104.0, size), 1)
    hill = 38.0 + 0.48 * load[:, np.newaxis] + 6.0 * np.exp(-(((rpm - 4200.0) / 1900.0) ** 2))
    rich = np.where(load > 85.0, 0.88, np.where(load > 60.0, 0.95, 1.0))[:, np.newaxis] + np.zeros(size)
    for name, values in ((fuel, np.round(breathing * hill, 1)), (lambda_, rich)):
        rows = [",".join(["load", *(f"{speed:g}" for speed in rpm)])]
        rows += [",".join(f"{value:g}" for value in (at, *row)) for at, row in zip(load, values, strict=True)]
        (folder / name).write_text("\n".join(rows) + "\n", encoding="utf-8")


def job_of_size(folder: Path, size: int) -> Job:
    """The job with so many loads and speeds, built in Python: the readers of files refuse what no ECU holds."""
    job = load_job(write_job(folder))
    if size == 16:
        return job
    at = np.linspace(0.0, 15.0, size)

    def finer(axis: FloatArray) -> FloatArray:
        return np.interp(at, np.arange(16.0), axis)

    def grown(table: FuelTable) -> FuelTable:
        def cells(values: FloatArray) -> FloatArray:
            rows = np.stack([finer(row) for row in values])
            return np.stack([finer(column) for column in rows.T], axis=1)

        return replace(
            table, values=cells(table.values), rpm=finer(table.rpm), load_pa=finer(table.load_pa), own_points=None,
            intended_lambda=cells(table.intended_lambda),
        )  # fmt: skip

    shown = replace(job.target.shown, load=finer(job.target.shown.load))
    return replace(
        job,
        donor=replace(job.donor, table=grown(job.donor.table), shown=shown),
        target=replace(job.target, table=grown(job.target.table), shown=shown),
    )
