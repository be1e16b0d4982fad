"""Computed jobs for the rules, invented: a map on the engine it was made for, with one thing changed at a time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np

from basemap.adaptation.pipeline import compute
from basemap.model.finding import Finding, NotJudged, Severity
from basemap.model.injectors import DeadTime, FlowRating, Injectors
from basemap.model.installation import (
    Conditions,
    Cycle,
    DonorState,
    Engine,
    FloatArray,
    Fuel,
    Induction,
    Installation,
    Regulator,
    Told,
)
from basemap.model.job import Job, Side
from basemap.model.likeness import Likeness
from basemap.model.marks import Mark
from basemap.model.result import Computed
from basemap.model.table import FuelTable, Inside, Shown, TableQuantity
from basemap.model.table_result import LambdaCase
from basemap.rules.judge import judge

RPM = np.array([800.0, 1500.0, 3000.0, 4500.0, 6000.0])
LOAD_KPA = np.array([20.0, 40.0, 60.0, 80.0, 100.0])
BREATHING = np.array([0.85, 0.83, 0.85, 0.86, 0.84])
"""Volumetric efficiency at those speeds, at every load."""
HEPTANE = 683.81407
PART_LOAD = (3, 2)
"""3000 rpm and 80 kPa: below 0.8 of the barometer, 81.06 kPa."""
AT_LOAD = (4, 2)
"""3000 rpm and 100 kPa."""
CRUISE = (1, 2)
"""3000 rpm and 40 kPa."""


def make_installation() -> Installation:
    return Installation(
        conditions=Conditions(barometer_pa=101_325.0, charge_temperature_k=313.15, battery_v=13.8),
        engine=Engine(
            1998e-6,
            4,
            Cycle.FOUR_STROKE,
            Induction.ATMOSPHERIC,
            10.0,
            6000.0,
            rated_power_w=82e3,  # what its own cells imply, by hand in test_plausible.py
            rated_speed_rpm=5500.0,
            firing_order="1-3-4-2",
            trigger="36-1 on the crank",
        ),
        injectors=Injectors(
            FlowRating(400e-6 / 60, False, 3e5, HEPTANE),
            DeadTime(np.array([8.0, 10.0, 12.0, 14.0, 16.0]), np.array([[2.4e-3, 1.7e-3, 1.2e-3, 0.8e-3, 0.6e-3]])),
            shortest_pulse_s=1.0e-3,
            highest_pressure_pa=6e5,
        ),
        fuel=Fuel("E10", 14.0, 730.0, 3e5, Regulator.MANIFOLD, 313.15, octane=95.0),
    )


def make_job(load_kpa: FloatArray = LOAD_KPA, **changes: Any) -> Job:
    """Donor and target are the same engine; `changes` are fields of the job."""
    shape = load_kpa.size, RPM.size
    intended = np.broadcast_to(np.where(load_kpa > 70.0, 0.88, 1.0)[:, np.newaxis], shape)
    table = FuelTable(
        "fuel",
        TableQuantity.VOLUMETRIC_EFFICIENCY,
        np.broadcast_to(BREATHING, shape),
        RPM,
        load_kpa * 1e3,
        Inside(),
        intended,
        13.8,
    )
    shown = Shown("%", 0.01, load_kpa, "kPa", 1)
    job = Job(
        title="A map on its own engine (invented)",
        donor=Side(make_installation(), Told(), table, shown),
        target=Side(make_installation(), Told(), replace(table, values=np.full(shape, np.nan)), shown),
        donor_state=DonorState.TUNED,
        likeness=Likeness.SAME_ENGINE,
        cylinder_trims=False,
    )
    return replace(job, **changes)


def with_target(job: Job, section: str, **changes: Any) -> Job:
    """The job with a part of its target changed."""
    return replace(job, target=replace(job.target, hardware=_with(job.target.hardware, section, changes)))


def with_donor(job: Job, section: str, **changes: Any) -> Job:
    """The job with a part of its donor changed."""
    return replace(job, donor=replace(job.donor, hardware=_with(job.donor.hardware, section, changes)))


def with_donor_side(job: Job, **changes: Any) -> Job:
    """The job with fields of its donor's side changed, such as ``fuel_known``."""
    return replace(job, donor=replace(job.donor, **changes))


def with_target_side(job: Job, **changes: Any) -> Job:
    """The job with fields of its target's side changed, such as ``told``."""
    return replace(job, target=replace(job.target, **changes))


def with_both(job: Job, section: str, **changes: Any) -> Job:
    """The job with the same change on both sides."""
    return with_donor(with_target(job, section, **changes), section, **changes)


def _with(side: Installation, section: str, changes: dict[str, Any]) -> Installation:
    part: Any = replace(getattr(side, section), **changes)
    whole: dict[str, Any] = {section: part}
    return replace(side, **whole)


def boosted(job: Job, peak_kpa: float) -> Job:
    """Both engines boosted up to a pressure."""
    return with_both(job, "engine", induction=Induction.BOOSTED, peak_pressure_pa=peak_kpa * 1e3)


def make_computed(job: Job | None = None) -> Computed:
    """The numbers of a job, by default of the one in which nothing is wrong."""
    return _sound() if job is None else compute(job)


@cache
def _sound() -> Computed:
    return compute(make_job())


def with_table(computed: Computed, **changes: Any) -> Computed:
    """Numbers with fields of the table replaced."""
    return replace(computed, table=replace(computed.table, **changes))


def with_ratio(computed: Computed, which: LambdaCase, value: float, cell: tuple[int, int] | None = None) -> Computed:
    """Numbers with one of the four outcomes set to a λ ratio, in one cell or in all."""
    ratios = dict(computed.table.lambda_ratio)
    ratios[which] = _set(ratios[which], value, cell)
    return with_table(computed, lambda_ratio=ratios)


def with_adapted_ratio(computed: Computed, value: float, cell: tuple[int, int]) -> Computed:
    """Numbers with the λ ratio of the new table and new settings replaced in one cell, unrounded and as stored."""
    kept = _set(computed.table.stored_lambda_ratio, value, cell)
    return with_table(with_ratio(computed, "new_table_new_settings", value, cell), stored_lambda_ratio=kept)


def with_pulse(computed: Computed, pulse_s: float, cell: tuple[int, int], *, donor: bool = False) -> Computed:
    """Numbers with the pulse of the target (or of the donor) replaced in one cell."""
    side = "donor" if donor else "target"
    chain = getattr(computed.table, side)
    return with_table(computed, **{side: replace(chain, pulse_s=_set(chain.pulse_s, pulse_s, cell))})


def with_mark(computed: Computed, mark: Mark, cell: tuple[int, int]) -> Computed:
    """Numbers with one cell marked."""
    where = np.zeros(computed.table.new.shape, dtype=bool)
    where[cell] = True
    return with_table(computed, marks={**computed.table.marks, mark: where})


def _set(values: FloatArray, value: float, cell: tuple[int, int] | None) -> FloatArray:
    changed = np.array(values)
    changed[cell if cell is not None else ...] = value
    return changed


def found(
    computed: Computed, rule: str, *, accept: Sequence[str] = (), band: FloatArray | None = None
) -> list[Finding]:
    """The findings of one rule."""
    judged = judge(computed, accept, relative_uncertainty=band)
    return [finding for finding in judged.findings if finding.rule == rule]


def severities(computed: Computed, rule: str) -> list[Severity]:
    """Severities of the findings of one rule."""
    return [finding.severity for finding in found(computed, rule)]


def missing(computed: Computed, rule: str) -> list[NotJudged]:
    """What one rule could not judge, and the facts that it lacked."""
    return [NotJudged(one.rule, one.missing) for one in judge(computed).not_judged if one.rule == rule]
