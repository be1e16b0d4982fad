"""The target's box: the donor's own, or another one where ``target.tables.fuel.quantity`` differs."""

from __future__ import annotations

from dataclasses import dataclass, replace

from basemap.constants import FORMULA_PRESSURE
from basemap.jobfile.load_axis import KEY
from basemap.jobfile.schema import TargetTable
from basemap.jobfile.settings import other_box_told, target_told
from basemap.jobfile.side import StatedSide
from basemap.model.installation import Told
from basemap.model.table import FuelTable, Inside, Shown, TableQuantity

VE_APPLIES = ("pressure", "lambda", "dead time")
_SHOWN = {TableQuantity.VOLUMETRIC_EFFICIENCY: ("%", 0.01, 1), TableQuantity.PULSE_WIDTH: ("ms", 1e-3, 3)}
"""Unit of the cells, its size in SI, and the decimals where nothing is said of how they are stored."""


@dataclass(frozen=True)
class TargetBox:
    """What the target's table holds, and what its ECU is told.

    Parameters
    ----------
    target
        The target's side of the job file.
    own
        ``[target.tables.fuel]``.
    donor_quantity, as_donor
        What the donor's table holds, and how the target's would be shown if it held the same.
    barometer_pa
        The target's, Pa.
    """

    target: StatedSide
    own: TargetTable
    donor_quantity: TableQuantity
    as_donor: Shown
    barometer_pa: float

    @property
    def quantity(self) -> TableQuantity:
        """What a cell of the target's table is."""
        return self.donor_quantity if self.own.quantity is None else TableQuantity(str(self.own.quantity))

    @property
    def is_other(self) -> bool:
        """Whether it is another box than the donor's."""
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
        return other_box_told(self.target, self.quantity) if self.is_other else target_told(self.target, donor)

    def table(self, as_donor: FuelTable) -> FuelTable:
        """The target's table, given what it would be in the donor's box."""
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
            self._refuse_reference("it belongs to a pulse-width table to which the ECU applies pressure")
            return FORMULA_PRESSURE
        stated, key = self.own.reference_pressure, f"{KEY}.reference_pressure"
        if stated is None:
            self.target.assume("reference pressure", key)
            return FORMULA_PRESSURE
        return self.target.absolute(stated, key, self.barometer_pa)

    def _refuse_reference(self, why: str) -> None:
        if self.own.reference_pressure is not None:
            raise self.target.error(f"{KEY}.reference_pressure", f"cannot stand here: {why}; leave it out")

    def _applies(self) -> tuple[str, ...]:
        stated = self.own.ecu_applies
        if isinstance(stated, tuple):
            return stated
        if self.quantity is TableQuantity.PULSE_WIDTH:
            raise self.target.error(
                f"{KEY}.ecu_applies",
                "missing: a pulse-width table of another box than the donor's must say what its ECU still applies to "
                'the cell: a list of "pressure", "lambda", "dead time", perhaps []',
            )
        self.target.assume("ecu applies, VE", f"{KEY}.ecu_applies")
        return VE_APPLIES


def inside_of(applies: tuple[str, ...]) -> Inside:
    """What is inside a cell is what the ECU does not apply to it."""
    pressure = "pressure" in applies or "barometer" in applies
    return Inside(not pressure, "lambda" not in applies, "dead time" not in applies)
