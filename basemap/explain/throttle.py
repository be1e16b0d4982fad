"""From the air behind the donor's throttle to that behind the target's, step by step."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.throttle import ThrottleLayout, donor_ratio, layout, needs_pressure
from basemap.explain import equations
from basemap.explain.step import CellSide, Stage, Step, charge_temperatures, cylinder_volumes, step
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.physics.throttle import CRITICAL_RATIO, flow_function

_STAGE = Stage.TRANSFER
_BORES = ("target.engine.throttle_bore", "donor.engine.throttle_bore")


def throttle_steps(computed: Computed, target: CellSide) -> list[Step]:
    """From the donor's air at a throttle opening to the target's.

    If the opening lies between the donor's points, the target's air is interpolated between those of the donor's cells
    around it, and only the result is shown.
    """
    job = computed.job
    air = target.at(target.chain.air_kg) * 1e6
    ratio = target.at(target.table.pressure_pa) / job.target.hardware.conditions.barometer_pa
    if not job.cell_for_cell:
        return [
            step(_STAGE, equations.TARGET_THROTTLED, ratio, formula=equations.AROUND),
            step(_STAGE, equations.TARGET_AIR, air, formula=equations.AROUND),
        ]
    steps = [*_of_donor(computed, target), *_blades(job, target, ratio)]
    conditions = job.donor.hardware.conditions, job.target.hardware.conditions
    steps += [
        cylinder_volumes(job),
        step(_STAGE, equations.BAROMETERS, conditions[1].barometer_pa / conditions[0].barometer_pa),
    ]
    whole = "m_air / Π_d" if needs_pressure(job.donor.table) else "W"
    how = f"{whole} · Π_t · V_t / V_d · T_d / T_t · p0_t/p0_d"
    return [*steps, step(_STAGE, equations.TARGET_AIR, air, formula=how)]


def _of_donor(computed: Computed, target: CellSide) -> list[Step]:
    """How far the donor is throttled."""
    job, cell = computed.job, (target.row, target.column)
    ratio = float(donor_ratio(job)[cell])
    if needs_pressure(job.donor.table):
        key = "donor.tables.fuel.row_pressure"
        return [step(_STAGE, equations.DONOR_THROTTLED, ratio, key, formula=equations.BY_ROW_PRESSURE)]
    wide_open = float(computed.table.donor.air_kg[-1, target.column]) * 1e6
    return [
        step(_STAGE, equations.WIDE_OPEN_AIR, wide_open),
        step(_STAGE, equations.DONOR_THROTTLED, ratio, formula=equations.BY_WIDE_OPEN),
    ]


def _blades(job: Job, target: CellSide, ratio: float) -> list[Step]:
    """The target's manifold pressure at the same opening."""
    warmth = charge_temperatures(job)
    before, engines = (
        float(donor_ratio(job)[target.row, target.column]),
        (job.donor.hardware.engine, job.target.hardware.engine),
    )
    if layout(*engines) is not ThrottleLayout.ALIKE or not before < 1.0:
        return [warmth, step(_STAGE, equations.TARGET_THROTTLED, ratio, formula=equations.NOT_THROTTLED)]
    donor, own = (engine.throttles for engine in engines)
    assert donor is not None
    assert own is not None
    through = float(flow_function(before))
    displacements = engines[1].displacement_m3 / engines[0].displacement_m3
    areas = donor.area_m2 / own.area_m2
    demand = displacements * areas * float(np.sqrt(warmth.value)) * through / before if before > 0 else np.nan
    sonic = float(flow_function(CRITICAL_RATIO))
    how = equations.BY_ROOT if ratio >= CRITICAL_RATIO else equations.BY_SONIC_FLOW
    return [
        warmth,
        step(_STAGE, equations.FLOW_FUNCTION, through),
        step(_STAGE, equations.DISPLACEMENTS, displacements, "target.engine.displacement", "donor.engine.displacement"),
        step(_STAGE, equations.BORE_AREAS, areas, *_BORES),
        step(_STAGE, equations.DEMAND, demand),
        step(_STAGE, equations.TARGET_THROTTLED, ratio, formula=how, sonic=sonic),
    ]
