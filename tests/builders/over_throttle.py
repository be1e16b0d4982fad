"""Jobs over throttle opening; their tables come from simulated engines with absolute areas, without the package.

The simulator is in ``tests/reference``. A cell here is the time for which an injector must be open to give a cylinder's
air the right fuel.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from basemap.adaptation.pipeline import adapt, compute
from basemap.model.job import Job
from basemap.model.result import Computed, Result
from tests.builders.text import built
from tests.jobs import edited
from tests.reference.throttle_simulator import FloatArray, Simulated

OPENINGS = np.array([0.0, 2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, 70.0, 85.0, 100.0])
RPM = np.arange(800.0, 6801.0, 600.0)
RAIL_BAR, DENSITY, STOICHIOMETRIC, DEAD_MS = 3.0, 724.0, 14.3, 0.885
FLOW_CC, HEPTANE = 280.0, 683.81407
"""Rated with n-heptane at 3 bar; its density at 20 °C, CoolProp."""

DONOR = Simulated(1.998, 4, 1, 60.0, temperature_k=313.15, barometer_pa=101_325.0)

TEXT = """
[donor]
state = "tuned"
[donor.engine]
displacement = "1998 cc"
cylinders = 4
throttle_bore = "60 mm"
[donor.injectors]
static_flow = "280 cc/min"
rated_pressure = "3 bar"
[donor.injectors.dead_time]
battery = ["10 V", "12 V", "14 V"]
time = ["1.75 ms", "1.20 ms", "0.85 ms"]
[donor.fuel]
stoichiometric = 14.3
density = "724 kg/m3"
rail_pressure = "3 bar"
regulator = "manifold"
[donor.tables.fuel]
file = "t.csv"
unit = "ms"
quantity = "pulse width"
ecu_applies = ["lambda", "dead time"]
load = "throttle"
lambda = 1.0
[target]
same_as_donor = ["injectors", "fuel"]
[target.engine]
displacement = "2393 cc"
cylinders = 4
throttle_bore = "60 mm"
"""


@dataclass(frozen=True)
class Engine:
    """A simulated engine and its text in a job file."""

    simulated: Simulated
    text: str


def target(litres: float, bore_mm: float = 60.0, *, cylinders: int = 4, bores: int = 1) -> Engine:
    """A target with the donor's air temperature and barometer; all cylinders share one manifold."""
    engine = Simulated(litres, cylinders, bores, bore_mm, temperature_k=313.15, barometer_pa=101_325.0)
    throttle = f'throttles = {{ count = {bores}, bore = "{bore_mm!r} mm", feeds = {cylinders} }}'
    return Engine(engine, f'displacement = "{litres * 1000.0!r} cc"\ncylinders = {cylinders}\n{throttle}\n')


def flow_mg_ms(manifold_pa: FloatArray, barometer_pa: float, *, fixed: bool) -> FloatArray:
    """Mass flow of one injector by the orifice law, mg/ms."""
    across = RAIL_BAR * 1e5 + (barometer_pa - manifold_pa if fixed else 0.0)
    rated = FLOW_CC / 60.0 * HEPTANE / 1e3  # mg/ms: cc/min / 60 = mm³/ms; mm³ · kg/m³ / 1000 = mg
    return np.asarray(rated * np.sqrt(across / 3e5) * math.sqrt(DENSITY / HEPTANE))


@cache
def opening_ms(engine: Simulated, *, fixed: bool = False) -> FloatArray:
    """How long the injectors of a simulated engine must be open at λ 1, ms, shape (openings, speeds)."""
    air, ratio = engine.tables(OPENINGS / 100.0, RPM)
    return air * 1e6 / STOICHIOMETRIC / flow_mg_ms(ratio * engine.barometer_pa, engine.barometer_pa, fixed=fixed)


def write(folder: Path, name: str, cells: FloatArray, load: FloatArray = OPENINGS, rpm: FloatArray = RPM) -> None:
    """Write a table of cells with every digit."""
    lines = [["%", *map(repr, rpm.tolist())]]
    lines += [[repr(one), *map(repr, row)] for one, row in zip(load.tolist(), cells.tolist(), strict=True)]
    (folder / name).write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")


def job(folder: Path, *changes: tuple[str, str], append: str = "", cells: FloatArray | None = None) -> Job:
    """The job with its text `edited`; the donor's cells are simulated unless they are given."""
    write(folder, "t.csv", opening_ms(DONOR, fixed='"fixed"' in edited(TEXT, *changes)) if cells is None else cells)
    return built(folder, TEXT, *changes, append=append)


def computed(folder: Path, *changes: tuple[str, str], append: str = "", cells: FloatArray | None = None) -> Computed:
    """The numbers of the job, without bands and rules, which take twenty times as long."""
    return compute(job(folder, *changes, append=append, cells=cells))


def adapted(folder: Path, *changes: tuple[str, str], append: str = "", cells: FloatArray | None = None) -> Result:
    """The job, adapted."""
    return adapt(job(folder, *changes, append=append, cells=cells))


FIXED = ('regulator = "manifold"', 'regulator = "fixed"')
OF_TARGET = 'displacement = "2393 cc"\ncylinders = 4\nthrottle_bore = "60 mm"\n'


def to(engine: Engine) -> tuple[str, str]:
    """The change of text that gives the target this engine."""
    return OF_TARGET, engine.text
