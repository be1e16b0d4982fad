"""What an ECU still applies to a cell: as stated, as found from the cells, and in the target's own controller."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import combinations
from typing import NamedTuple

import numpy as np

from basemap.adaptation.chain import decode_side
from basemap.adaptation.implied import volumetric_efficiency
from basemap.adaptation.settings_in_force import donor_settings
from basemap.constants import FORMULA_PRESSURE, SAME
from basemap.errors import InputError
from basemap.jobfile.load_axis import KEY
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.settings import other_ecu_told, target_told
from basemap.jobfile.table_sections import TargetTable
from basemap.model.installation import FloatArray, Told
from basemap.model.job import Side
from basemap.model.table import FuelTable, Inside, Shown, TableQuantity

APPLICABLE = ("pressure", "lambda", "dead time")
WIDE_OPEN_VE = 0.60, 1.20
"""Plausible implied VE at the highest row up to the barometer. Common practice."""
LIGHT_LOAD_VE = 0.35, 0.95
"""Plausible implied VE from 30 to 60 kPa. Common practice."""
LIGHT_LOAD_PA = 30e3, 60e3


class CellMeaning(NamedTuple):
    """One interpretation of the cells, and the volumetric efficiency that it implies.

    `light_load` is `None` if the table has no row from 30 to 60 kPa.
    """

    applies: tuple[str, ...]
    inside: Inside
    wide_open: float
    light_load: float | None

    @property
    def plausible(self) -> bool:
        """Whether an engine can have this volumetric efficiency."""
        light = self.light_load is None or LIGHT_LOAD_VE[0] <= self.light_load <= LIGHT_LOAD_VE[1]
        return WIDE_OPEN_VE[0] <= self.wide_open <= WIDE_OPEN_VE[1] and light

    def __str__(self) -> str:
        names = ", ".join(f'"{name}"' for name in self.applies)
        light = "" if self.light_load is None else f" and {_shown(self.light_load)} at 30 to 60 kPa"
        return f"[{names}] implies a VE of {_shown(self.wide_open)} wide open{light}"


def _shown(efficiency: float) -> str:
    """A number with two decimals; the word none if the pulses would be shorter than the dead time."""
    return "none" if math.isnan(efficiency) else f"{efficiency:.2f}"


def choose_meaning(donor: StatedSide, side: Side, own_lambda: bool) -> Inside:
    """The only plausible meaning of the donor's cells.

    Parameters
    ----------
    donor
        The side that says "unknown".
    side
        The same side, complete except for what is inside its cells.
    own_lambda
        Whether the target is meant to run another mixture than the donor.

    Raises
    ------
    InputError
        With every meaning, where none or more than one is plausible.
    """
    meanings = all_meanings(side, own_lambda)
    plausible = [meaning for meaning in meanings if meaning.plausible]
    shown = "; ".join(str(meaning) for meaning in meanings)
    key = "tables.fuel.ecu_applies"
    if len(plausible) != 1:
        count = "no interpretation" if not plausible else "more than one interpretation"
        raise InputError(
            f'"unknown" cannot be resolved: {count} of the cells is plausible: {shown}; say which one is true',
            file=donor.provenance.file,
            place=donor.place(key),
        )
    donor.assume("ecu applies, unknown", key, unknown=True, value=f"{plausible[0]}, of: {shown}")
    return plausible[0].inside


def all_meanings(side: Side, own_lambda: bool) -> list[CellMeaning]:
    """Every meaning. If lambda is 1 everywhere on both sides, it does not matter whether the ECU applies it."""
    neutral = not own_lambda and bool(np.all(np.abs(side.table.intended_lambda - 1.0) < SAME))
    names = tuple(name for name in APPLICABLE if not (neutral and name == "lambda"))
    meanings = []
    for count in range(len(names), -1, -1):
        for chosen in combinations(names, count):
            applies = tuple(name for name in APPLICABLE if name in chosen or (neutral and name == "lambda"))
            meanings.append(_meaning(side, applies))
    return meanings


def _meaning(side: Side, applies: tuple[str, ...]) -> CellMeaning:
    inside = inside_of(applies)
    efficiency = implied_ve(side, inside)
    table, conditions, engine = side.table, side.hardware.conditions, side.hardware.engine
    limit = engine.rev_limit_rpm or float(table.rpm[-1])
    columns = (table.rpm >= 0.3 * limit) & (table.rpm <= 0.9 * limit)
    end = conditions.barometer_pa if engine.peak_pressure_pa is None else engine.peak_pressure_pa
    visited = np.flatnonzero(table.load_pa <= end * (1 + SAME))
    top = int(visited[-1]) if visited.size else 0
    light = (table.load_pa >= LIGHT_LOAD_PA[0]) & (table.load_pa <= LIGHT_LOAD_PA[1])
    return CellMeaning(
        applies,
        inside,
        wide_open=_median(efficiency[top][columns]),
        light_load=_median(efficiency[light][:, columns]) if light.any() else None,
    )


def _median(values: FloatArray) -> float:
    """The median; NaN, which is implausible, if a pulse is shorter than the dead time or no cell is left."""
    return float(np.median(values)) if values.size else float("nan")


def implied_ve(side: Side, inside: Inside) -> FloatArray:
    """Volumetric efficiency that the donor's cells imply with this inside them, shape (loads, speeds)."""
    read = replace(side, table=replace(side.table, inside=inside))
    return volumetric_efficiency(read.hardware, read.table, decode_side(read, donor_settings(read)).air_kg)


_SHOWN = {TableQuantity.VOLUMETRIC_EFFICIENCY: ("%", 0.01, 1), TableQuantity.PULSE_WIDTH: ("ms", 1e-3, 3)}
"""Unit of the cells, its size in SI, and the decimals if the job does not say how they are stored."""


class TargetController(NamedTuple):
    """The quantity of the target's table and the settings of its ECU.

    Parameters
    ----------
    target
        The target's side of the job file.
    own
        ``[target.tables.fuel]``.
    donor_quantity, as_donor
        The quantity of the donor's table, and how the target's would be shown if it had the same.
    barometer_pa
        The target's barometric pressure, Pa.
    """

    target: StatedSide
    own: TargetTable
    donor_quantity: TableQuantity
    as_donor: Shown
    barometer_pa: float

    @property
    def quantity(self) -> TableQuantity:
        """The quantity of the target's table."""
        return self.donor_quantity if self.own.quantity is None else TableQuantity(str(self.own.quantity))

    @property
    def is_other(self) -> bool:
        """Whether the quantity differs from the donor's."""
        return self.quantity is not self.donor_quantity

    @property
    def shown(self) -> Shown:
        """How the target's table is shown."""
        if not self.is_other:
            return self.as_donor
        unit, per_unit, decimals = _SHOWN[self.quantity]
        return replace(self.as_donor, unit=unit, per_unit=per_unit, decimals=decimals)

    def told(self, donor: Told) -> Told:
        """What the target's ECU is told, and how it behaves."""
        return other_ecu_told(self.target, self.quantity) if self.is_other else target_told(self.target, donor)

    def table(self, as_donor: FuelTable) -> FuelTable:
        """The target's table, given what it would be in the donor's controller."""
        if not self.is_other:
            self._refuse_reference("the target's table keeps the donor's")
            return as_donor
        applies = self._applies()
        inside = inside_of(applies)
        return replace(
            as_donor,
            quantity=self.quantity,
            inside=inside,
            reference_pressure_pa=self._reference(inside),
            applied_pa=self.barometer_pa if "barometer" in applies else None,
        )

    def _reference(self, inside: Inside) -> float:
        """Pressure for which a pulse of the target's table stands, Pa."""
        if self.quantity is not TableQuantity.PULSE_WIDTH or inside.pressure:
            self._refuse_reference("it is only for a pulse-width table to which the ECU applies pressure")
            return FORMULA_PRESSURE
        stated, key = self.own.reference_pressure, f"{KEY}.reference_pressure"
        if stated is None:
            self.target.assume("reference pressure", key)
            return FORMULA_PRESSURE
        return self.target.absolute(stated, key, self.barometer_pa)

    def _refuse_reference(self, why: str) -> None:
        if self.own.reference_pressure is not None:
            raise self.target.error(f"{KEY}.reference_pressure", f"does not belong here: {why}; leave it out")

    def _applies(self) -> tuple[str, ...]:
        stated = self.own.ecu_applies
        if isinstance(stated, tuple):
            return stated
        if self.quantity is TableQuantity.PULSE_WIDTH:
            raise self.target.error(
                f"{KEY}.ecu_applies",
                "missing: state what this ECU, which is not the donor's, still applies to the cells of its "
                'pulse-width table: a list of "pressure", "lambda", "dead time", or [] for none',
            )
        self.target.assume("ecu applies, VE", f"{KEY}.ecu_applies")
        return APPLICABLE


def inside_of(applies: tuple[str, ...]) -> Inside:
    """What is inside a cell: everything that the ECU does not apply to it."""
    pressure = "pressure" in applies or "barometer" in applies
    return Inside(not pressure, "lambda" not in applies, "dead time" not in applies)
