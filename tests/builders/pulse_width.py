"""A pulse-width job between two engines of the same parts, all of it invented; each test changes a line or two.

Everything is inside the cells and the rail pressure follows the manifold, so a cell is the sum of the dead time,
0.885 ms at 13.8 V, and a time in proportion to the air of a cylinder.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.adaptation.pipeline import adapt, compute
from basemap.errors import InputError
from basemap.model.job import Job
from basemap.model.result import Computed, Result
from tests.builders.text import built

DEAD_MS = 0.885
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
blend = "E5"
rail_pressure = "3 bar"
regulator = "manifold"
[donor.tables.fuel]
file = "t.csv"
quantity = "pulse width"
ecu_applies = []
load = "manifold pressure"
load_unit = "kPa"
lambda = 1.0
[target]
same_as_donor = ["fuel", "injectors"]
[target.engine]
displacement = "2000 cc"
cylinders = 4
"""
ROWS = "load,1000,3000\n40,2.885,2.885\n80,5.885,5.885\n"
"""Open times of 2 ms in the lower row and 5 ms in the upper, plus the dead time."""

LOAD = 'load = "manifold pressure"\nload_unit = "kPa"'


def job(folder: Path, *changes: tuple[str, str], rows: str = ROWS, append: str = "") -> Job:
    """The job with its text `edited`."""
    return built(folder, TEXT, *changes, append=append, t=rows)


def computed(folder: Path, *changes: tuple[str, str], rows: str = ROWS, append: str = "") -> Computed:
    """Its numbers, without bands and rules, which take twenty times as long."""
    return compute(job(folder, *changes, rows=rows, append=append))


def adapted(folder: Path, *changes: tuple[str, str], rows: str = ROWS, append: str = "") -> Result:
    """The same, adapted."""
    return adapt(job(folder, *changes, rows=rows, append=append))


def refused(folder: Path, *changes: tuple[str, str], rows: str = ROWS, append: str = "") -> str:
    """The message that refuses such a job."""
    with pytest.raises(InputError) as caught:
        job(folder, *changes, rows=rows, append=append)
    return str(caught.value)


def barometers(donor: str, target: str) -> str:
    """Sections to append that give each side its barometric pressure."""
    return f'\n[donor.conditions]\nbarometer = "{donor}"\n[target.conditions]\nbarometer = "{target}"\n'


def target_of(displacement: str) -> tuple[str, str]:
    """The change of text that gives the target this displacement."""
    return '[target.engine]\ndisplacement = "2000 cc"', f'[target.engine]\ndisplacement = "{displacement}"'
