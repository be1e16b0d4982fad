"""What does not follow an edit, in one list that the sheet of inputs and the user guide print.

A whole workbook holds figures only where no formula leads from a cell of the donor's table to the same cell of the
target's. In a live one some parts are as issued, because they are worked out between the cells, or in words.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from basemap.adaptation.throttle import over_throttle
from basemap.model.axes import LoadAxis
from basemap.model.likeness import Breathing
from basemap.model.result import Result


class WhyFigures(NamedTuple):
    """A reason for figures only: in words, why it is a reason, and whether it applies to a result."""

    words: str
    why: str
    applies: Callable[[Result], bool]


class AsIssued(NamedTuple):
    """A part of a live workbook that stays as issued: what it is, why, and the sheets whose plain numbers it covers."""

    what: str
    why: str
    sheets: tuple[str, ...]
    applies: Callable[[Result], bool]


def _always(_: Result) -> bool:
    return True


def _estimated(result: Result) -> bool:
    factor = result.table.breathing_factor
    return result.job.breathing is Breathing.INLET_MACH or (factor is not None and bool(np.isnan(factor).any()))


def _on_other_axes(result: Result) -> bool:
    return not (result.job.one_pressure_axis and result.job.keeps_donor_grid)


FIGURES_ONLY: tuple[WhyFigures, ...] = (
    WhyFigures(
        "the load axis counts air",
        "the pressure of a cell then follows from the cell, not from its row",
        lambda result: result.job.target.table.points.axis is LoadAxis.AIR_MASS,
    ),
    WhyFigures(
        "the load axis is throttle opening",
        "the pressure of a cell is worked out from the flow through the throttle",
        lambda result: over_throttle(result.job.target.table),
    ),
    WhyFigures(
        "the ECU multiplies its pulses for the battery",
        "a dead time stands in for that, and is right for one pulse only",
        lambda result: result.job.donor.told.battery_factor is not None,
    ),
    WhyFigures(
        "short pulses need a time to be added",
        "the pulse and the time added to it depend on each other",
        lambda result: any(
            result.job.side(side).hardware.injectors.added_time is not None for side in ("donor", "target")
        ),
    ),
    WhyFigures(
        "settings are entered as their fields hold them",
        "a field may hold only a number nearby, and the cells make up the difference",
        lambda result: bool(result.job.setting_fields),
    ),
    WhyFigures(
        "the breathing is estimated",
        "the estimate has a factor for every cell, worked out from the inputs as issued",
        _estimated,
    ),
    WhyFigures(
        "the donor's table is read on other axes",
        "a cell is read between four of the donor's",
        _on_other_axes,
    ),
)
"""The workbook states the first one that applies."""

AS_ISSUED_PARTS: tuple[AsIssued, ...] = (
    AsIssued(
        "verdict, brief and findings",
        "they are judged, not calculated in cells: run again",
        (),
        _always,
    ),
    AsIssued(
        "the first-start card, and pulse and duty at idle",
        "they are read between the cells",
        (),
        _always,
    ),
    AsIssued(
        "the band of every cell, and the slopes",
        "each takes runs of the whole calculation",
        ("How sure",),
        _always,
    ),
    AsIssued("the worked cell", "it shows the figures of one run, step by step", ("Worked cell",), _always),
    AsIssued(
        "the mixture over battery voltage and charge temperature",
        "each point takes a run of the whole calculation",
        ("Battery and heat",),
        _always,
    ),
    AsIssued("the mixture half way between the cells", "it is read between four cells", (), _always),
    AsIssued(
        "further tables",
        "they have axes of their own, and are read at other temperatures and voltages",
        ("Further tables",),
        lambda result: bool(result.further_tables),
    ),
    AsIssued(
        "sensor scales", "they follow from none of the inputs here", ("Sensors",), lambda result: bool(result.sensors)
    ),
    AsIssued(
        "what makers' power and torque say about the breathing",
        "its factor does not follow an edit of displacement, weather or compression: run again",
        ("Breathing",),
        lambda result: result.table.breathing_factor is not None,
    ),
    AsIssued(
        "what drives taught",
        "its factor is worked out from the inputs as issued: run again",
        ("Learnt",),
        lambda result: result.table.taught is not None,
    ),
    AsIssued("what was issued", "it is there for comparison", ("Issued", "Issued inputs"), _always),
)


def figures_only(result: Result) -> str:
    """Why a workbook holds figures instead of formulas; empty where it is live."""
    return next((one.words for one in FIGURES_ONLY if one.applies(result)), "")


def as_issued(result: Result) -> list[AsIssued]:
    """The parts of a live workbook that stay as issued."""
    return [one for one in AS_ISSUED_PARTS if one.applies(result)]
