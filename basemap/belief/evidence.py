"""The makers' figures as evidence of how the target breathes.

Two engines do nearly the same indicated work per mass of air that they draw. So the power and torque that their makers
state, with friction added, say how much air each draws wide open, and the donor's table says how much air the donor
draws at every speed.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from basemap.belief.field import Evidence, FloatArray, Points
from basemap.model.evidence import Observation
from basemap.model.installation import Cycle, Engine, Induction
from basemap.physics import work

OF_ONE_FIGURE = 0.05
"""Standard uncertainty of the air that one maker's figure means: efficiency, mixture, how it was measured. Our
judgement, no source."""

ALIKE = 0.7
"""Correlation of the errors of power and torque figures of the same two engines. Our judgement, no source."""

BEYOND = 2.0
"""Factor on the standard uncertainty of a figure for which the donor's table is read beyond its axes."""

NEAR_TOP = 0.05
"""How far below full load, as a share of it, the donor's top row may end and still be read as full load."""


@dataclass(frozen=True)
class WideOpen:
    """The donor's volumetric efficiency at full load, as its table has it.

    Parameters
    ----------
    rpm
        Speeds of the table, rising, shape (speeds,), rev/min.
    load_pa
        Manifold pressures of its rows, rising, shape (loads,), Pa; `None` if the top row is wide open and rows have
        no pressure.
    efficiency
        Shape (loads, speeds).
    """

    rpm: FloatArray
    load_pa: FloatArray | None
    efficiency: FloatArray

    def at(self, rpm: float, pressure_pa: float) -> float:
        """Volumetric efficiency, linear between the cells, held at the edges; NaN if a cell that is read is NaN."""
        if self.load_pa is None:
            return float(np.interp(rpm, self.rpm, self.efficiency[-1]))
        above = int(np.searchsorted(self.load_pa, pressure_pa))
        rows = slice(max(above - 1, 0), above + 1)
        at_speed = [float(np.interp(rpm, self.rpm, row)) for row in self.efficiency[rows]]
        return float(np.interp(pressure_pa, self.load_pa[rows], at_speed))

    def within(self, rpm: float, pressure_pa: float) -> bool:
        """Whether this point lies within the table's axes."""
        reaches = self.load_pa is None or pressure_pa <= float(self.load_pa[-1]) * (1.0 + NEAR_TOP)
        return reaches and float(self.rpm[0]) <= rpm <= float(self.rpm[-1])


@dataclass(frozen=True)
class Figured:
    """One of two engines whose makers' figures are compared: the engine, its barometer and its full load, Pa."""

    engine: Engine
    barometer_pa: float

    @property
    def full_load_pa(self) -> float | None:
        """Manifold pressure at full load, Pa; `None` if a boosted engine does not state it."""
        return self.barometer_pa if self.engine.induction is Induction.ATMOSPHERIC else self.engine.peak_pressure_pa


def makers_figures(donor: Figured, target: Figured, wide_open: WideOpen) -> tuple[Observation, ...]:
    """Evidence from the makers' figures of both engines; empty if one is missing or they cannot be compared.

    η_t(N_t)·p_t = η_d(N_d)·p_d·W_t/W_d, with W the indicated work per swept volume at either figure's own speed.
    Figures are of standard air: for two atmospheric engines the pressures cancel.
    """
    loads = donor.full_load_pa, target.full_load_pa
    if donor.engine.induction is not target.engine.induction or None in loads:
        return ()
    return tuple(_observed(donor, target, wide_open))


def _observed(donor: Figured, target: Figured, wide_open: WideOpen) -> Iterator[Observation]:
    donor_pa, target_pa = donor.full_load_pa, target.full_load_pa
    assert donor_pa is not None
    assert target_pa is not None
    atmospheric = target.engine.induction is Induction.ATMOSPHERIC
    similar_pa = donor_pa if atmospheric else target_pa
    pressures = 1.0 if atmospheric else donor_pa / target_pa
    figures = zip(_figures(donor.engine), _figures(target.engine), strict=True)
    for (name, key, before), (_, _, now) in figures:
        if before is None or now is None:
            continue
        works = _indicated_work(target.engine, *now) / _indicated_work(donor.engine, *before)
        efficiencies = wide_open.at(before[1], donor_pa) / wide_open.at(now[1], similar_pa)
        ratio = efficiencies * pressures * works
        if not (math.isfinite(ratio) and ratio > 0.0):
            continue
        beyond = not (wide_open.within(before[1], donor_pa) and wide_open.within(now[1], similar_pa))
        yield Observation(
            name=f"{name} of both engines",
            keys=(f"donor.engine.{key}", f"target.engine.{key}"),
            rpm=now[1],
            pressure_over_barometer=1.0 if atmospheric else target_pa / target.barometer_pa,
            value=math.log(ratio),
            standard=math.sqrt(2.0) * OF_ONE_FIGURE * (BEYOND if beyond else 1.0),
            source="makers' figures, with friction by Heywood, section 13.6",
            beyond_donor=beyond,
        )


Torque = tuple[float, float] | None
"""Torque, N·m, at a speed, rev/min; `None` if it is not stated."""


def _figures(engine: Engine) -> tuple[tuple[str, str, Torque], ...]:
    power: Torque = None
    if engine.rated_power_w is not None and engine.rated_speed_rpm is not None:
        power = work.torque_of_power(engine.rated_power_w, engine.rated_speed_rpm), engine.rated_speed_rpm
    torque: Torque = None
    if engine.peak_torque_nm is not None and engine.peak_torque_speed_rpm is not None:
        torque = engine.peak_torque_nm, engine.peak_torque_speed_rpm
    return ("rated power", "rated_power", power), ("peak torque", "peak_torque", torque)


def _indicated_work(engine: Engine, torque_nm: float, rpm: float) -> float:
    """W: indicated work per cycle and swept volume, Pa."""
    turns = 2.0 if engine.cycle is Cycle.FOUR_STROKE else 1.0
    brake = work.brake_mean_effective_pressure(torque_nm, engine.displacement_m3, turns)
    return float(brake + work.friction_mean_effective_pressure(rpm))


def as_evidence(observations: tuple[Observation, ...], expected: FloatArray | float = 0.0) -> Evidence:
    """Makers' figures as evidence for the field: less what physics expects at their points, and correlated.

    Parameters
    ----------
    observations
        Of `makers_figures`.
    expected
        ln B that physics expects there, about which the field's mean is, shape (observations,).
    """
    standards = np.array([entry.standard for entry in observations])
    correlation = np.where(np.eye(standards.size, dtype=bool), 1.0, ALIKE)
    return Evidence(
        points=Points.at(
            np.array([entry.rpm for entry in observations]),
            np.array([entry.pressure_over_barometer for entry in observations]),
        ),
        values=np.array([entry.value for entry in observations]) - expected,
        noise=correlation * np.outer(standards, standards),
    )
