"""Dead times at the battery voltages of the tables, from the points on the sheet of inputs."""

from __future__ import annotations

from typing import NamedTuple

from basemap.explain import equations
from basemap.model.job import Job, SideName
from basemap.model.settings import InForce
from basemap.workbook.core.interpolate import segment_formula, segment_number, value_formula
from basemap.workbook.inputs.dead_time_blocks import Block, block
from basemap.workbook.inputs.input_cell import plain


class Derived(NamedTuple):
    """One derived number: its name, what it is, its formula and its value."""

    name: str
    label: str
    unit: str
    formula: str
    value: float


def dead_times(job: Job, blocks: tuple[Block, ...], settings: InForce) -> list[Derived]:
    """Dead times of the injectors, and those that the ECUs hold."""
    rows: list[Derived] = []
    volts = {"donor": job.donor.table.battery_v, "target": job.target.table.battery_v}
    for side in ("donor", "target"):
        if job.side(side).dead_time_known:
            rows += _at_battery(block(blocks, side), side, volts[side])
    if job.donor.dead_time_known:
        told = block(
            blocks,
            "donor" if job.donor.told.dead_time is None or len(_of(blocks, "donor")) == 1 else "donor_settings",
        )
        rows += _told_at(
            f"donor_{equations.TOLD_DEAD_TIME.cell}",
            "donor's settings, when its table was made",
            told,
            "donor",
            volts["donor"],
            float(settings.donor.dead_time_s(volts["donor"])) * 1e3,
        )
        rows += _told_at(
            "old_set_dead_time",
            "donor's settings left on the target",
            told,
            "target",
            volts["target"],
            float(settings.old.dead_time_s(volts["target"])) * 1e3,
        )
    new = new_dead_time_block(job, blocks)
    rows += _told_at(
        f"target_{equations.TOLD_DEAD_TIME.cell}",
        "target's settings, once entered",
        new,
        "target",
        volts["target"],
        float(settings.new.dead_time_s(volts["target"])) * 1e3,
    )
    return rows  # fmt: skip


def _of(blocks: tuple[Block, ...], side: SideName) -> list[Block]:
    return [one for one in blocks if one.side == side]


def new_dead_time_block(job: Job, blocks: tuple[Block, ...]) -> Block:
    """The dead times that the target's ECU holds once the settings are entered."""
    if job.target.told.dead_time is not None or job.target.told.dead_time_points_v is not None:
        return block(blocks, "target_settings")
    if "dead_time" in job.cannot_be_told:
        return old_dead_time_block(blocks)
    return block(blocks, "target")


def old_dead_time_block(blocks: tuple[Block, ...]) -> Block:
    """The dead times that the donor's ECU held."""
    return _of(blocks, "donor")[-1]


def _at_battery(one: Block, side: SideName, volts: float) -> list[Derived]:
    """The injectors' dead time at the battery voltage; data over pressure is worked out row by row instead."""
    battery = f"{side}_battery_used"
    rows = [_segment(f"{side}_dead_time_segment", one, battery, volts)]
    if not one.over_pressure:
        formula = value_formula(one.volts, one.times, battery, rows[0].name, one.count)
        value = float(one.dead_time.at(volts, 0.0)) * 1e3
        rows.append(
            Derived(f"{side}_{equations.DEAD_TIME.cell}", f"{one.heading.lower()}, at the battery voltage", "ms",
                    f"MAX(0,{_in_ms(one, formula)})", value)
        )  # fmt: skip
    return rows


def _segment(name: str, one: Block, battery: str, volts: float) -> Derived:
    formula = segment_formula(one.volts, battery, one.ordered)
    return Derived(name, "segment of the voltages", "", formula, float(segment_number(one.dead_time.battery_v, volts)))


def _in_ms(one: Block, formula: str) -> str:
    return formula if one.size == 1.0 or one.over_pressure else f"{plain(one.size)}*({formula})"


def _told_at(name: str, label: str, one: Block, battery_of: SideName, volts: float, value: float) -> list[Derived]:
    battery = f"{battery_of}_battery_used"
    segment = _segment(f"{name}_segment", one, battery, volts)
    formula = value_formula(one.volts, one.at_rail, battery, segment.name, one.count)
    return [segment, Derived(name, label, "ms", f"MAX(0,{_in_ms(one, formula)})", value)]
