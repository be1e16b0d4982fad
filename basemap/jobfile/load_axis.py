"""What the numbers of a load axis mean: manifold pressures, pressures over the barometer, openings, or air."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from basemap.constants import R_DRY_AIR
from basemap.errors import InputError
from basemap.jobfile.engine import swept_volume
from basemap.jobfile.quantities import axis_scale
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table_sections import DonorFurtherTable, DonorTable
from basemap.model.axes import LoadAxis, LoadPoints
from basemap.model.installation import Conditions, FloatArray

KEY = "tables.fuel"
RATIO_UNITS = {"ratio": 1.0, "%": 0.01}
OPENING_UNITS = {"%": 0.01}
AIR_UNITS = {"mg": 1e-6, "g": 1e-3, "g/rev": 1e-3}
WHOLE_ENGINE = "g/rev"
_PRESSURE_UNITS = ("kPa", "bar", "mbar", "hPa", "Pa", "psi", "inHg", "mmHg")
_PRESSURE_EXAMPLE = 'missing: give the unit of the load axis, such as "kPa", "bar absolute" or "inHg vacuum"'


class AxisConditions(NamedTuple):
    """The conditions that turn an axis into pressures and air: barometer (Pa), charge temperature (K), cylinder (m³).

    `per_cylinder` is the air of one cylinder in one cycle over that of the whole engine in one revolution.
    """

    barometer_pa: float
    charge_temperature_k: float
    cylinder_volume_m3: float
    per_cylinder: float


@dataclass(frozen=True)
class LoadScale:
    """The meaning of a load axis.

    Parameters
    ----------
    kind
        The quantity on the axis.
    unit, size
        The unit as the job writes it, and its size: Pa, kg, or 1 for a ratio.
    reference
        For a pressure: ``absolute``, ``gauge`` or ``vacuum``; else empty.
    conditions
        The cylinders and conditions of the side that has the table.
    """

    kind: LoadAxis
    unit: str
    size: float
    reference: str
    conditions: AxisConditions

    def pressure_pa(self, load: FloatArray) -> FloatArray:
        """Manifold pressures of points as shown, Pa; on an air-mass axis the estimate m·R·T/V.

        An opening has no pressure: a stand-in takes its place, the barometer times the opening, which rises with it.
        """
        value, conditions = load * self.size, self.conditions
        if self.kind in (LoadAxis.PRESSURE_RATIO, LoadAxis.THROTTLE):
            return value * conditions.barometer_pa
        if self.kind is LoadAxis.AIR_MASS:
            return self._air_kg(load) * R_DRY_AIR * conditions.charge_temperature_k / conditions.cylinder_volume_m3
        return {"absolute": value, "gauge": conditions.barometer_pa + value, "vacuum": conditions.barometer_pa - value}[
            self.reference
        ]

    def is_in(self, unit: str, reference: str) -> bool:
        """Whether the unit that a table's file names is that of this axis, however it is spelt.

        Parameters
        ----------
        unit
            One of `basemap.tables.numbers.LOAD_UNITS`, in any case.
        reference
            ``absolute`` or ``gauge``; empty says nothing.
        """
        if self.kind is LoadAxis.AIR_MASS:
            return unit.lower().removesuffix("/cyl").removesuffix("/stroke") == self.unit
        if self.kind is not LoadAxis.MANIFOLD_PRESSURE:
            return unit == "%" and self.size == RATIO_UNITS["%"]
        spelled = next((name for name in _PRESSURE_UNITS if name.lower() == unit.lower()), None)
        if spelled is None or not np.isclose(axis_scale(f"{spelled} absolute")[0], self.size, rtol=1e-9, atol=0.0):
            return False
        return not reference or (reference == "absolute") is (self.reference == "absolute")

    def points(self, load: FloatArray, as_the_donor: LoadScale) -> LoadPoints:
        """What points as shown stand for.

        Parameters
        ----------
        load
            Lowest load first.
        as_the_donor
            The donor's axis: an untouched table is looked up by what this axis counts.
        """
        pressure, conditions = self.pressure_pa(load), self.conditions
        if self.kind is LoadAxis.PRESSURE_RATIO:
            ratio = load * self.size
            return LoadPoints(self.kind, ratio, ratio, pressure)
        if self.kind is LoadAxis.THROTTLE:
            opening = load * self.size
            return LoadPoints(self.kind, opening, opening, np.ones_like(opening))
        if self.kind is LoadAxis.AIR_MASS:
            air = self._air_kg(load)
            lookup = air / conditions.per_cylinder if as_the_donor.unit == WHOLE_ENGINE else air
            return LoadPoints(self.kind, lookup, air / conditions.cylinder_volume_m3, air)
        lookup = pressure if as_the_donor.reference == "absolute" else pressure - conditions.barometer_pa
        return LoadPoints(self.kind, lookup, pressure, pressure)

    def converted(self, load: FloatArray, axis: LoadScale) -> FloatArray:
        """Points shown on this axis, as the same axis of the target, `axis`, shows them.

        A pressure stays absolute, or relative to each side's own barometer. Air scales with the swept volume.
        """
        if self.kind in (LoadAxis.PRESSURE_RATIO, LoadAxis.THROTTLE):
            return load * (self.size / axis.size)
        if self.kind is LoadAxis.AIR_MASS:
            scale = axis.conditions.cylinder_volume_m3 / self.conditions.cylinder_volume_m3
            return axis.shown_air(self._air_kg(load) * scale)
        relative = self.reference != "absolute" and axis.reference != "absolute"
        barometer = axis.conditions.barometer_pa
        pressure = self.pressure_pa(load)
        if relative:
            pressure = pressure - self.conditions.barometer_pa + barometer
        if axis.reference == self.reference and (relative or axis.reference == "absolute"):
            return load * (self.size / axis.size)
        offset = {"absolute": pressure, "gauge": pressure - barometer, "vacuum": barometer - pressure}
        return offset[axis.reference] / axis.size

    def shown_air(self, air_kg: FloatArray) -> FloatArray:
        """Air per cylinder and cycle as this axis shows it."""
        return air_kg / self.size / (self.conditions.per_cylinder if self.unit == WHOLE_ENGINE else 1.0)

    def _air_kg(self, load: FloatArray) -> FloatArray:
        """Air per cylinder and cycle, kg."""
        return load * self.size * (self.conditions.per_cylinder if self.unit == WHOLE_ENGINE else 1.0)


def axis_conditions(side: StatedSide, conditions: Conditions, cycle: str) -> AxisConditions:
    """The conditions of one side that turn a load axis into pressures and air."""
    displacement, cylinders = swept_volume(side)
    revolutions = 1.0 if cycle == "two-stroke" else 2.0
    return AxisConditions(
        conditions.barometer_pa,
        conditions.charge_temperature_k,
        displacement.value / cylinders,
        revolutions / cylinders,
    )


def load_axis(
    side: StatedSide, table: DonorTable | DonorFurtherTable, conditions: AxisConditions, key: str = KEY
) -> LoadScale:
    """What the load axis of a donor's table, the one under `key`, means."""
    if table.load is None:
        raise side.error(f"{key}.load", 'missing: say what the load axis is, such as "manifold pressure"')
    kind = LoadAxis(table.load)
    unit = table.load_unit
    if unit is None:
        unit = {LoadAxis.PRESSURE_RATIO: "ratio", LoadAxis.THROTTLE: "%"}.get(kind)
    if unit is None:
        example = _PRESSURE_EXAMPLE
        if kind is LoadAxis.AIR_MASS:
            example = (
                'missing: give the unit of the load axis: "mg" or "g" per cylinder and cycle, or "g/rev" for the '
                "whole engine"
            )
        raise side.error(f"{key}.load_unit", example)
    return axis_in(side, kind, unit, conditions, key)


def targets_axis(target: StatedSide, unit: str | None, donor_axis: LoadScale, conditions: AxisConditions) -> LoadScale:
    """The same axis on the target: its own unit if it gives one, its own barometer, temperature and cylinders."""
    if unit is None:
        return replace(donor_axis, conditions=conditions)
    return axis_in(target, donor_axis.kind, unit, conditions)


def axis_in(side: StatedSide, kind: LoadAxis, unit: str, conditions: AxisConditions, table: str = KEY) -> LoadScale:
    """What a load axis in a unit of its own means; `table` is the key of its table, for messages."""
    key = f"{table}.load_unit"
    if kind is LoadAxis.MANIFOLD_PRESSURE:
        try:
            size, reference = axis_scale(unit)
        except InputError as error:
            raise error.within(file=side.provenance.file, place=side.place(key)) from None
        return LoadScale(kind, unit, size, reference, conditions)
    units, what = {
        LoadAxis.PRESSURE_RATIO: (RATIO_UNITS, "MAP/BARO"),
        LoadAxis.THROTTLE: (OPENING_UNITS, "throttle opening"),
        LoadAxis.AIR_MASS: (AIR_UNITS, "air mass"),
    }[kind]
    if unit not in units:
        known = ", ".join(f'"{name}"' for name in units)
        raise side.error(key, f'"{unit}" is not a unit of {what}: write one of {known}')
    return LoadScale(kind, unit, units[unit], "", conditions)


def rising_points(axis: LoadScale, load: FloatArray) -> FloatArray:
    """Points of an axis, lowest load first."""
    return np.asarray(load[np.argsort(axis.pressure_pa(load))])
