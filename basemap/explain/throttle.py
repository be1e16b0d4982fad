"""How the air of a cell behind one throttle becomes that behind another, step by step."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.throttle import ThrottleLayout, donor_ratio, layout, needs_pressure
from basemap.explain.step import CellSide, Stage, Step, charge_temperatures, cylinder_volumes
from basemap.model.job import Job
from basemap.model.result import Computed
from basemap.physics.throttle import CRITICAL_RATIO, HEAT_CAPACITY_RATIO, flow_function

_STAGE = Stage.TRANSFER
_BORES = ("target.engine.throttle_bore", "donor.engine.throttle_bore")
_ROOT = "y^(-γ/(γ-1)), y = (1 + √(1 + 2·c²·(γ-1)/γ)) / 2"


def throttle_steps(computed: Computed, target: CellSide) -> list[Step]:
    """From the donor's air at an opening to the target's.

    Between the donor's points the target's air is read from what its cells around carry over, and only that is shown.
    """
    job = computed.job
    air = target.at(target.chain.air_kg) * 1e6
    ratio = target.at(target.table.pressure_pa) / job.target.hardware.conditions.barometer_pa
    name = "air of one cylinder of the target in one cycle"
    if not job.cell_for_cell:
        how = "what the donor's cells around carry over, each at its own pressures, read between them"
        return [
            Step(_STAGE, "Π_t", "manifold over barometric pressure of the target", ratio, "", how),
            Step(_STAGE, "m_air,t", name, air, "mg", how),
        ]
    steps = [*_of_donor(computed, target), *_blades(job, target, ratio)]
    conditions = job.donor.hardware.conditions, job.target.hardware.conditions
    steps += [
        cylinder_volumes(job),
        Step(
            _STAGE,
            "p0_t / p0_d",
            "barometers, target to donor",
            conditions[1].barometer_pa / conditions[0].barometer_pa,
            "",
        ),
    ]
    whole = "m_air / Π_d" if needs_pressure(job.donor.table) else "W"
    return [*steps, Step(_STAGE, "m_air,t", name, air, "mg", f"{whole} · Π_t · V_t / V_d · T_d / T_t · p0_t/p0_d")]


def _of_donor(computed: Computed, target: CellSide) -> list[Step]:
    """How far the donor is throttled."""
    job, cell = computed.job, (target.row, target.column)
    ratio = float(donor_ratio(job)[cell])
    what = "manifold over barometric pressure of the donor"
    if needs_pressure(job.donor.table):
        return [Step(_STAGE, "Π_d", what, ratio, "", "row_pressure / barometer", ("donor.tables.fuel.row_pressure",))]
    wide_open = float(computed.table.donor.air_kg[-1, target.column]) * 1e6
    return [
        Step(_STAGE, "W", "air of the wide-open row at this speed", wide_open, "mg"),
        Step(_STAGE, "Π_d", what, ratio, "", "m_air / W"),
    ]


def _blades(job: Job, target: CellSide, ratio: float) -> list[Step]:
    """What the target's manifold comes to at the same opening."""
    what = "manifold over barometric pressure of the target"
    warmth = charge_temperatures(job)
    before, engines = (
        float(donor_ratio(job)[target.row, target.column]),
        (job.donor.hardware.engine, job.target.hardware.engine),
    )
    if layout(*engines) is not ThrottleLayout.ALIKE or not before < 1.0:
        return [warmth, Step(_STAGE, "Π_t", what, ratio, "", "Π_d: not throttled")]
    donor, own = (engine.throttles for engine in engines)
    assert donor is not None
    assert own is not None
    through = float(flow_function(before))
    displacements = engines[1].displacement_m3 / engines[0].displacement_m3
    areas = donor.area_m2 / own.area_m2
    demand = displacements * areas * float(np.sqrt(warmth.value)) * through / before if before > 0 else np.nan
    sonic = float(flow_function(CRITICAL_RATIO))
    how = _ROOT if ratio >= CRITICAL_RATIO else f"{sonic:.7g} / c: the flow past the blade is sonic"
    gamma = f"γ = {HEAT_CAPACITY_RATIO:g}, Π not below {CRITICAL_RATIO:.7g}"
    return [
        warmth,
        Step(
            _STAGE,
            "Ψ_d",
            "flow function of the donor's blade",
            through,
            "",
            f"√(2γ/(γ-1) · (Π_d^(2/γ) - Π_d^((γ+1)/γ))), {gamma}",
        ),
        Step(
            _STAGE,
            "D_t / D_d",
            "displacements, target to donor",
            displacements,
            "",
            "",
            ("target.engine.displacement", "donor.engine.displacement"),
        ),
        Step(_STAGE, "A_d / A_t", "bore areas, donor to target", areas, "", "", _BORES),
        Step(
            _STAGE, "c", "flow function over Π that the target asks for", demand, "",
            "D_t / D_d · A_d / A_t · √(T_d / T_t) · Ψ_d / Π_d",
        ),
        Step(_STAGE, "Π_t", what, ratio, "", how),
    ]  # fmt: skip
