"""One cell's whole chain, written out step by step with its numbers, so that a calculator can follow it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from basemap.adaptation.breathing import speed_ratio
from basemap.adaptation.throttle import over_throttle
from basemap.constants import SAME
from basemap.explain import equations
from basemap.explain.ecu import cell_from_pulse, pulse_from_cell
from basemap.explain.hardware import fuel_from_pulse, pulse_from_air
from basemap.explain.step import CellSide, Stage, Step, charge_temperatures, cylinder_volumes, step
from basemap.explain.throttle import throttle_steps
from basemap.explain.whole_side import WholeSide
from basemap.model.axes import LoadAxis
from basemap.model.belief import BreathingBelief
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Breathing
from basemap.model.result import Computed


def central_cell(computed: Computed) -> tuple[int, int]:
    """The cell that is explained by default: the highest reachable load that has a new cell, at the middle speed."""
    possible = computed.table.reachable & np.isfinite(computed.table.new)
    if not possible.any():
        return 0, 0
    row = int(np.flatnonzero(possible.any(axis=1))[-1])
    columns = np.flatnonzero(possible[row])
    return row, int(columns[len(columns) // 2])


def worked_cell(computed: Computed, row: int, column: int) -> tuple[Step, ...]:
    """Work one cell out step by step, from the donor's cell to the new one.

    Parameters
    ----------
    row, column
        Indices of load and speed, lowest first.

    Returns
    -------
    The steps in order. If the donor's injectors or fuel cancel and are left out, they start at the air that its cell
    stands for.
    """
    return WorkedCells(computed).at(row, column)


class WorkedCells:
    """The chains of one table's cells, for whoever wants many: `at` works one out as `worked_cell` does."""

    def __init__(self, computed: Computed) -> None:
        job, table, settings = computed.job, computed.table, computed.in_force
        self._computed = computed
        self._donor = WholeSide("donor", job.donor.hardware, job.donor.table, settings.donor, table.donor)
        self._target = WholeSide("target", job.target.hardware, job.target.table, settings.new, table.target)
        self._breathes = _Factors.of(table.breathing)

    def at(self, row: int, column: int) -> tuple[Step, ...]:
        """The steps of one cell, by its indices of load and speed."""
        computed, job = self._computed, self._computed.job
        donor, target = CellSide.of(self._donor, row, column), CellSide.of(self._target, row, column)
        own = float(job.donor.table.values[row, column]) / job.donor.shown.per_unit if job.cell_for_cell else np.nan
        cell = step(Stage.DONOR_ECU, equations.DONOR_CELL, own, unit=job.donor.shown.unit)
        if not job.cell_for_cell:
            before = _on_other_axes(computed, donor)
        elif computed.cancelled:
            before = [cell, *_air_alone(donor, float(computed.table.implied_ve[row, column]))]
        else:
            before = [cell, *pulse_from_cell(donor), *fuel_from_pulse(donor)]
        transferred = _transfer(computed, target, self._breathes)
        return (*before, *transferred, *pulse_from_air(target), *cell_from_pulse(computed, target))


class _Factors(NamedTuple):
    """Factors on the air of every cell, by physics and by evidence; `None` where there are none."""

    physics: FloatArray | None
    evidence: FloatArray | None

    @classmethod
    def of(cls, breathing: BreathingBelief) -> _Factors:
        return cls(*(np.exp(part) if part.any() else None for part in (breathing.by_physics, breathing.by_evidence)))


def _on_other_axes(computed: Computed, target_cell: CellSide) -> list[Step]:
    """The donor's steps if the target has axes of its own: from the donor's cell at the similar point, else its air."""
    job, own, at = computed.job, computed.on_donor_axes, _donor_cell(computed.job, target_cell.row, target_cell.column)
    if own is None or at is None or computed.cancelled:
        return [_air_between(target_cell)]
    row, column = at
    value = float(job.donor.table.values[row, column]) / job.donor.shown.per_unit
    where = f"{job.donor.table.rpm[column]:g} rpm, {job.donor.shown.load[row]:g} {job.donor.shown.load_unit}".rstrip()
    cell = step(Stage.DONOR_ECU, equations.DONOR_CELL_AT, value, unit=job.donor.shown.unit, where=where)
    whole = WholeSide("donor", job.donor.hardware, job.donor.table, own.in_force.donor, own.table.donor)
    side = CellSide.of(whole, row, column)
    return [cell, *pulse_from_cell(side), *fuel_from_pulse(side)]


def _donor_cell(job: Job, row: int, column: int) -> tuple[int, int] | None:
    """The donor's cell at the similar point of a target's cell; `None` if that point lies between the donor's cells."""
    donor, target = job.donor.table, job.target.table
    loads = np.flatnonzero(np.isclose(donor.points.similar, target.points.similar[row], rtol=SAME, atol=0.0))
    speeds = np.flatnonzero(np.isclose(donor.rpm, target.rpm[column], rtol=SAME, atol=0.0))
    return (int(loads[0]), int(speeds[0])) if loads.size and speeds.size else None


def _air_between(side: CellSide) -> Step:
    return step(Stage.DONOR_HARDWARE, equations.AIR_BETWEEN, side.at(side.chain.air_kg) * 1e6)


def _air_alone(side: CellSide, implied_ve: float) -> list[Step]:
    stage, conditions = Stage.DONOR_ECU, side.installation.conditions
    estimate = ", estimated from the air" if side.table.points.axis is LoadAxis.AIR_MASS else ""
    return [
        step(stage, equations.MANIFOLD_PRESSURE, side.at(side.table.pressure_pa) / 1e3, estimate=estimate),
        step(
            stage,
            equations.CHARGE_TEMPERATURE,
            conditions.charge_temperature_k,
            side.key("conditions.charge_temperature"),
            "conditions.charge_temperature",
        ),
        step(stage, equations.EFFICIENCY, implied_ve),
        step(stage, equations.AIR_OF_EFFICIENCY, side.at(side.chain.air_kg) * 1e6),
    ]


def _transfer(computed: Computed, target: CellSide, breathes: _Factors) -> list[Step]:
    job, stage, row = computed.job, Stage.TRANSFER, target.row
    charge = float(target.table.points.charge[row] / job.donor_charge[row])
    if over_throttle(target.table):
        return throttle_steps(computed, target)
    if target.table.points.axis is LoadAxis.AIR_MASS:
        steps = [step(stage, equations.STATED_AIR, charge)]
        how = "m_air · x_t / x_d"
    else:
        steps = [cylinder_volumes(job), charge_temperatures(job)]
        how = "m_air · V_t / V_d · T_d / T_t"
        if abs(charge - 1.0) > SAME:
            steps.append(step(stage, equations.PRESSURES, charge))
            how += " · p_t / p_d"
    if breathes.physics is not None:
        steps.append(_breathing(job, target, breathes.physics))
        how += " · b"
    if breathes.evidence is not None:
        steps.append(_evidence(target, breathes.evidence, computed.table.breathing))
        how += " · e"
    if computed.table.taught is not None:
        steps.append(step(stage, equations.TAUGHT, target.at(computed.table.taught.factor)))
        how += " · d"
    air = target.at(target.chain.air_kg) * 1e6
    return [*steps, step(stage, equations.TARGET_AIR, air, formula=how)]


def _breathing(job: Job, target: CellSide, factor: FloatArray) -> Step:
    how, key, rpm = equations.BY_RESIDUAL_GAS, "compression_ratio", 0.0
    if job.breathing is not Breathing.RESIDUAL_GAS:
        how, key = equations.BY_INLET_MACH, "inlet_valve_area"
        rpm = float(target.table.rpm[target.column]) * speed_ratio(job)
    elif job.breathing_by_default:
        how += equations.FADES_OUT
    keys = (f"target.engine.{key}", f"donor.engine.{key}")
    value = target.at(factor)
    return step(Stage.TRANSFER, equations.BREATHING, value, *keys, formula=how, model=job.breathing, rpm=rpm)


def _evidence(target: CellSide, factor: FloatArray, breathing: BreathingBelief) -> Step:
    keys = tuple(key for entry in breathing.evidence for key in entry.keys)
    by = ", ".join(entry.name for entry in breathing.evidence)
    return step(Stage.TRANSFER, equations.EVIDENCE, target.at(factor), *keys, by=by)
