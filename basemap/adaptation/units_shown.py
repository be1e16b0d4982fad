"""The units in which a job is shown to its reader: those in which the job itself is written."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from typing import NamedTuple

from basemap.adaptation.quantities.units import UNITS, ZERO_K, si
from basemap.model.axes import LoadAxis
from basemap.model.job import Job

_PASCAL = UNITS["Pa"].dimension
_OF_THE_PROGRAM = re.compile(r"(-?\d+(?:\.\d+)?) (kPa|bar|degC)\b")


class UnitShown(NamedTuple):
    """A unit, its size in SI, and where its scale starts.

    Parameters
    ----------
    name
        As a job file writes it; a unit of manifold pressure other than kPa says that it is absolute: ``psi absolute``.
    size
        One of it, SI.
    zero
        The SI value at which its scale starts: 273.15 of degC.
    """

    name: str
    size: float
    zero: float = 0.0

    def number(self, value: float) -> float:
        """An SI value in this unit."""
        return (value - self.zero) / self.size

    def decimals(self, step: float) -> int:
        """Decimals that show a step of this size, SI."""
        return max(0, math.ceil(-math.log10(step / self.size) - 1e-9))

    def text(self, value: float, digits: int = 3) -> str:
        """An SI value with its unit.

        >>> UnitShown("degF", 5 / 9, 459.67 * 5 / 9).text(273.15)
        '32 degF'
        """
        return f"{round(self.number(value), 6):.{digits}g} {self.name}"


def manifold_pressure(job: Job) -> UnitShown:
    """The unit for absolute pressures: that of the load axis, as the ECU shows it; else the barometer's; else kPa."""
    counts = job.target.table.points.axis is LoadAxis.MANIFOLD_PRESSURE
    axis = [job.target.shown.load_unit] if counts else []
    name = _first([*axis, *_stated(job, "conditions.barometer")], "kPa")
    return UnitShown(name if name == "kPa" else f"{name} absolute", UNITS[name].size)


def fuel_pressure(job: Job) -> UnitShown:
    """The unit for gauge pressures in the rail: that in which the job states them, else bar."""
    name = _first(_stated(job, "fuel.rail_pressure", "injectors.rated_pressure"), "bar")
    return UnitShown(name, UNITS[name].size)


def temperature(job: Job) -> UnitShown:
    """The unit for temperatures: that of the cold start in the job, else of the air, else of the fuel, else degC."""
    units = _stated(job, "engine.coldest_start", "conditions.charge_temperature", "fuel.temperature")
    name = next((unit for unit in units if unit in ZERO_K), "degC")
    return UnitShown(name, UNITS[name].size, ZERO_K[name])


def in_units_of(job: Job, text: str, *, difference: bool = False) -> str:
    """Convert kPa (absolute), bar (of fuel) and degC in our own sentences into the job's own units."""
    units = {"kPa": manifold_pressure(job), "bar": fuel_pressure(job), "degC": temperature(job)}

    def own(found: re.Match[str]) -> str:
        unit, size = units[found[2]], UNITS[found[2]].size
        if unit.name == found[2]:
            return found[0]
        if difference:
            return f"{float(found[1]) * size / unit.size:.3g} {unit.name.removesuffix(' absolute')}"
        return unit.text(si(found[0]))

    return _OF_THE_PROGRAM.sub(own, text)


def _stated(job: Job, *keys: str) -> Iterator[str]:
    """Units in which the job itself writes these, the target's first."""
    for key in keys:
        for whole in (f"target.{key}", key, f"donor.{key}"):
            written = job.inputs.get(whole)
            if written is not None and whole in job.declared:
                yield written.unit


def _first(units: Iterator[str] | list[str], default: str) -> str:
    """The first unit of pressure among them, without its ``absolute``, ``gauge`` or ``vacuum``."""
    names = (unit.partition(" ")[0] for unit in units)
    return next((name for name in names if name in UNITS and UNITS[name].dimension == _PASCAL), default)
