"""A table of volumetric efficiency between two engines, all of it invented; each test appends its own sections."""

from __future__ import annotations

from pathlib import Path

from basemap.adaptation.pipeline import adapt
from basemap.model.job import Job
from basemap.model.result import Result
from tests.builders import text

TEXT = """
[donor.engine]
displacement = "2000 cc"
cylinders = 4
[donor.injectors]
static_flow = "280 cc/min"
rated_pressure = "3 bar"
[donor.injectors.dead_time]
battery = ["10 V", "12 V", "14 V"]
time = ["1.75 ms", "1.20 ms", "0.85 ms"]
[donor.fuel]
stoichiometric = 14.3
density = "745 kg/m3"
density_at = "15 degC"
rail_pressure = "3 bar"
regulator = "manifold"
[donor.tables.fuel]
file = "t.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = 1.0
[target]
same_as_donor = ["fuel"]
[target.engine]
displacement = "2400 cc"
cylinders = 4
[target.injectors]
static_flow = "560 cc/min"
rated_pressure = "3 bar"
[target.injectors.dead_time]
battery = ["10 V", "12 V", "14 V"]
time = ["1.75 ms", "1.20 ms", "0.85 ms"]
"""
ROWS = "load,1000,3000\n40,55,60\n100,80,90\n"


def built(folder: Path, *append: str, replaced: tuple[tuple[str, str], ...] = (), rows: str = ROWS) -> Job:
    """The job with its text `edited` and sections appended."""
    return text.built(folder, TEXT, *replaced, append="".join(append), t=rows)


def adapted(folder: Path, *append: str, replaced: tuple[tuple[str, str], ...] = (), rows: str = ROWS) -> Result:
    """The same, adapted."""
    return adapt(built(folder, *append, replaced=replaced, rows=rows))
