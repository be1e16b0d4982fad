"""``axis_points``, ``rpm_points`` and ``load_points`` in ``[target.tables.NAME]``: a further table on other points."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from basemap.constants import ZERO_CELSIUS
from basemap.errors import NotSupportedYet
from basemap.jobfile.further_table_file import COOLANT_C, Further, coolant_k
from basemap.jobfile.load_axis import breath_of, pressure_axis
from basemap.jobfile.schema import TargetFurtherTable
from basemap.jobfile.table import HIGHEST_RPM, check_loads
from basemap.model.axes import reading
from basemap.model.further_table import FurtherAxis, FurtherQuantity, FurtherTable
from basemap.model.installation import FloatArray

if TYPE_CHECKING:
    from basemap.tables.grid import GridLayout
    from basemap.tables.line import LineLayout

_TWO = ("rpm_points", "load_points")


def on_own_points(further: Further, own: TargetFurtherTable, table: FurtherTable) -> FurtherTable:
    """A further table on the target's own points, where the job gives them; else as it is.

    Over one axis a pulse less its dead time is in proportion to the fuel, and the dead time is the same at every point:
    reading the pulse straight is reading the fuel straight. Beside a cell that delivers nothing, with the dead time in
    it, that is not so, and `adaptation.further_tables` leaves the point empty. Beyond the donor's
    points its edge is held.

    Raises
    ------
    InputError
        Where a point cannot be, or the table cannot be read between its cells.
    """
    one_axis = table.axis is not None
    for key in (*_TWO, "axis_points"):
        if getattr(own, key) is not None and one_axis is (key in _TWO):
            has, takes = ("one axis", "axis_points") if one_axis else ("two axes", "rpm_points and load_points")
            raise further.error(key, f"the table has {has}: its own points are {takes}", further.sides.target)
    if own.axis_points is not None:
        return _over_one_axis(further, own.axis_points, table)
    if own.rpm_points is not None or own.load_points is not None:
        return _over_two_axes(further, own, table)
    return table


def _over_one_axis(further: Further, stated: tuple[float, ...], table: FurtherTable) -> FurtherTable:
    side, axis = further.sides.target, table.axes[0]
    if table.quantity is FurtherQuantity.PULSE_WIDTH:
        for word, of in (("donor", further.sides.donor), ("target", side)):
            if of.injectors.two_slope is not None or of.injectors.added_time is not None:
                raise NotSupportedYet(
                    f"not supported yet: with injectors of the {word} whose flow line is not straight the pulse "
                    "between two points does not follow from theirs: leave it out",
                    file=side.record.file,
                    place=side.place(f"{further.key}.axis_points"),
                )
    points = np.sort(np.array(stated))
    kelvin = None
    if axis.coolant_k is not None:
        kelvin = coolant_k(axis.unit, points)
        for point, celsius in zip(points, kelvin - ZERO_CELSIUS, strict=True):
            if not COOLANT_C[0] <= celsius <= COOLANT_C[1]:
                raise further.error(
                    "axis_points",
                    f"a coolant temperature of {point:g} {axis.unit} is not possible: expected {COOLANT_C[0]:g} to "
                    f"{COOLANT_C[1]:g} degC",
                    side,
                )
    layout: LineLayout = table.layout  # type: ignore[assignment]
    return replace(
        table,
        values=np.interp(points, axis.values, table.values),
        axes=(FurtherAxis(axis.name, axis.unit, points, kelvin),),
        shown=replace(table.shown, load=points),
        layout=layout.with_axis(points),
        origin=table,
        outside=(points < axis.values[0]) | (points > axis.values[-1]),
    )


def _over_two_axes(further: Further, own: TargetFurtherTable, table: FurtherTable) -> FurtherTable:
    side, (load_axis, rpm_axis) = further.sides.target, table.axes
    if table.quantity is FurtherQuantity.PULSE_WIDTH:
        raise NotSupportedYet(
            "not supported yet: a further table of pulses over speed and load keeps the donor's points",
            file=side.record.file,
            place=side.place(f"{further.key}.{'rpm_points' if own.rpm_points else 'load_points'}"),
        )
    rpm = rpm_axis.values if own.rpm_points is None else np.sort(np.array(own.rpm_points))
    for speed in rpm:
        if not 0 < speed < HIGHEST_RPM:
            raise further.error(
                "rpm_points",
                f"an engine speed of {speed:g} is not possible: expected rev/min above 0 and below {HIGHEST_RPM:.0f}",
                side,
            )
    load, pressure = load_axis.values, table.load_pa
    assert pressure is not None
    if own.load_points is not None:
        load, pressure = _loads(further, own.load_points, load_axis.unit)
    assert table.load_pa is not None
    read = reading((table.load_pa, pressure), (rpm_axis.values, rpm))
    mixture = table.quantity in (FurtherQuantity.LAMBDA, FurtherQuantity.AIR_FUEL_RATIO)
    if mixture and read.beyond_top_row.any():
        above = load[int(np.flatnonzero(read.beyond_top_row)[0])]
        raise further.error(
            "load_points",
            f"{above:g} {load_axis.unit} lies above the donor's top row, {load_axis.values[-1]:g}, and an intended "
            "mixture is not held beyond its table: leave the point out, or extend the donor's table",
            side,
        )
    layout: GridLayout = table.layout  # type: ignore[assignment]
    return replace(
        table,
        values=read.of(table.values),
        axes=(replace(load_axis, values=load), replace(rpm_axis, values=rpm)),
        load_pa=pressure,
        shown=replace(table.shown, load=load),
        layout=layout.with_axes(rpm, np.sort(load)),
        origin=table,
        outside=read.outside,
    )


def _loads(further: Further, stated: tuple[float, ...], unit: str) -> tuple[FloatArray, FloatArray]:
    """Loads as shown, lowest pressure first, and their pressures on the target."""
    side, sides = further.sides.target, further.sides
    cycle = sides.donor.engine.cycle or "four-stroke"
    axis = pressure_axis(side, further.key, unit, breath_of(side, sides.target_conditions, cycle))
    load = np.array(stated)
    pressure = axis.pressure_pa(load)
    order = np.argsort(pressure)
    place = side.place(f"{further.key}.load_points")
    check_loads(axis, load[order], pressure[order], file=side.record.file, place=place)
    return load[order], pressure[order]
