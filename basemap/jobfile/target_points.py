"""What a table of the target has of its own: its points, and how its cells are stored."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.constants import ZERO_CELSIUS
from basemap.errors import NotSupportedYet
from basemap.jobfile.further_table_file import COOLANT_C, Further, coolant_k
from basemap.jobfile.load_axis import KEY, LoadScale, rising_points
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table import HIGHEST_RPM, MOST_CELLS, ReadTable, check_loads
from basemap.jobfile.table_sections import TargetFurtherTable, TargetTable
from basemap.model.axes import LoadAxis, interpolation
from basemap.model.further_table import FurtherAxis, FurtherQuantity, FurtherTable
from basemap.model.installation import Engine, FloatArray
from basemap.model.job import Side
from basemap.model.storage import grain, limits
from basemap.model.table import FuelTable, Shown, Storage, at_similar_points, cell_for_cell, same_axes
from basemap.tables.grid import GridLayout
from basemap.tables.line import LineLayout


def build_storage(target: StatedSide, key: str, own: TargetTable | TargetFurtherTable, shown: Shown) -> Storage:
    """How ``[target.tables.NAME]`` says that cells are stored; refused if it contradicts itself."""
    storage = Storage(own.decimals, own.minimum, own.maximum, own.step)
    return checked_storage(target, key, storage, shown.decimals, "the cells", shown.unit)


def checked_storage(target: StatedSide, key: str, storage: Storage, decimals: int, of: str, unit: str = "") -> Storage:
    """Return `storage`, refused if it contradicts itself.

    Parameters
    ----------
    decimals
        Used if neither decimals nor a step are stated.
    of, unit
        The name of what is stored, and its unit.
    """
    if storage.decimals is not None and storage.step is not None:
        raise target.error(f"{key}.step", "is given together with decimals: give only one of the two")
    lowest, highest = storage.minimum, storage.maximum
    if lowest is not None and highest is not None and lowest >= highest:
        raise target.error(f"{key}.maximum", f"{highest:g} is not above the minimum of {lowest:g}")
    shown = Shown(unit, 1.0, np.empty(0), "", decimals)
    low, high = limits(storage, shown)
    if low is not None and high is not None and low >= high:
        apart = f"{grain(storage, shown):g} {unit}".rstrip()
        raise target.error(
            f"{key}.maximum",
            f"no two numbers {apart} apart fit between {lowest:g} and {highest:g}: is it in the unit of {of}?",
        )
    return storage


def target_grid(
    target: StatedSide, own: TargetTable, donor_grid: ReadTable, donor_axis: LoadScale, axis: LoadScale
) -> ReadTable:
    """The target's empty table.

    Parameters
    ----------
    own
        What the job says of the target's table.
    donor_grid, donor_axis
        The donor's table and what its load axis means.
    axis
        The same axis on the target.
    """
    load = _loads(own, donor_grid, donor_axis, axis)
    pressure = axis.pressure_pa(load)
    key = "load_points" if own.load_points else "load_unit" if own.load_unit else "load_points"
    file, place = target.provenance.file, target.place(f"{KEY}.{key}")
    check_loads(axis, load, pressure, file=file, place=place)
    rpm = _speeds(target, own, donor_grid)
    if load.size * rpm.size > MOST_CELLS:
        raise target.error(
            f"{KEY}.{'load_points' if own.load_points else 'rpm_points'}",
            f"the table would have {load.size} × {rpm.size} cells: expected at most {MOST_CELLS}, more than any "
            "controller's table has",
        )
    return ReadTable(
        rpm=rpm,
        load_pa=pressure,
        points=axis.points(load, donor_axis),
        values=np.full((load.size, rpm.size), np.nan),
        shown=replace(donor_grid.shown, load=load, load_unit=axis.unit),
        layout=_layout(donor_grid, rpm, load, axis.unit),
    )


def intended_on_axes(target: StatedSide, donor: Side, table: FuelTable, shown: Shown, engine: Engine) -> FloatArray:
    """The donor's intended lambda on the target's axes.

    It stays cell for cell if its table does, or if it is looked up by the same pressures. Else it is read at the
    similar points, but not above its top row: the mixture meant at one load says nothing about a higher one.

    Parameters
    ----------
    donor
        With its intended lambda.
    table, shown
        The target's table, without its own lambda, and how it is shown.
    engine
        The target's.
    """
    stays = same_axes(donor.table, table) and donor.table.points.axis is not LoadAxis.AIR_MASS
    if stays or cell_for_cell(donor.table, table):
        return donor.table.intended_lambda
    similar = at_similar_points(donor.table, table)
    top = similar.beyond_top_row
    if top.any():
        first = int(np.flatnonzero(top)[0])
        raise target.error(
            f"{KEY}.lambda",
            f"missing: the row at {shown.load[first]:.5g} {shown.load_unit} lies above the donor's top row, "
            f"{_donor_top(donor, engine)}, and an intended mixture is never carried beyond its own table: give the "
            "lambda that the target should run, a number or a file",
        )
    return similar.of(donor.table.intended_lambda)


def _donor_top(donor: Side, engine: Engine) -> str:
    """The donor's top row; on an air-mass axis also the similar amount of air in the target's cylinders."""
    shown = donor.shown
    said = f"{shown.load[-1]:.5g} {shown.load_unit}"
    if donor.table.points.axis is not LoadAxis.AIR_MASS:
        return said
    scale = engine.cylinder_volume_m3 / donor.hardware.engine.cylinder_volume_m3
    return f"{said}, which is {shown.load[-1] * scale:.5g} {shown.load_unit} in the target's cylinders"


def _loads(own: TargetTable, donor_grid: ReadTable, donor_axis: LoadScale, axis: LoadScale) -> FloatArray:
    if own.load_points is not None:
        return rising_points(axis, np.array(own.load_points))
    if axis == donor_axis:
        return donor_grid.shown.load
    return donor_axis.converted(donor_grid.shown.load, axis)


def _speeds(target: StatedSide, own: TargetTable, donor_grid: ReadTable) -> FloatArray:
    if own.rpm_points is None:
        return donor_grid.rpm
    rpm = np.array(own.rpm_points)
    for speed in rpm:
        if not 0 < speed < HIGHEST_RPM:
            raise target.error(
                f"{KEY}.rpm_points",
                f"an engine speed of {speed:g} is not possible: expected rev/min above 0 and below {HIGHEST_RPM:.0f}",
            )
    return np.sort(rpm)


def _layout(donor_grid: ReadTable, rpm: FloatArray, load: FloatArray, unit: str) -> GridLayout:
    layout: GridLayout = donor_grid.layout  # type: ignore[assignment]
    if donor_grid.named_unit is not None and unit != donor_grid.shown.load_unit:
        layout = layout.with_load_unit(donor_grid.named_unit, unit)
    if np.array_equal(rpm, donor_grid.rpm) and np.array_equal(load, donor_grid.shown.load):
        return layout
    return layout.with_axes(rpm, np.sort(load))


_TWO = ("rpm_points", "load_points")


def on_own_points(further: Further, own: TargetFurtherTable, table: FurtherTable) -> FurtherTable:
    """A further table on the target's own points, if the job gives them; else as it is.

    Over one axis, pulses may be interpolated: a pulse minus its dead time is in proportion to the fuel, and the dead
    time is the same at every point. Next to a cell that contains the dead time and delivers nothing, this fails, and
    `adaptation.further_tables` leaves the point empty. Outside the donor's points, its edge is held.

    An air-mass axis without points of the target's own is scaled with the swept volume: every cell stays at the same
    filling of the cylinder.

    Raises
    ------
    InputError
        If a point is impossible, or the table cannot be interpolated.
    """
    one_axis = table.axis is not None
    for key in (*_TWO, "axis_points"):
        if getattr(own, key) is not None and one_axis is (key in _TWO):
            has, takes = ("one axis", "axis_points") if one_axis else ("two axes", "rpm_points and load_points")
            raise further.error(key, f"the table has {has}: its own points are {takes}", further.sides.target)
    if own.axis_points is not None:
        return _over_one_axis(further, own.axis_points, table)
    if one_axis:
        return table
    donor_axis, axis = further.load_scales()
    scaled = donor_axis.kind is LoadAxis.AIR_MASS and donor_axis.conditions != axis.conditions
    if own.rpm_points is not None or own.load_points is not None or scaled:
        return _over_two_axes(further, own, table, (donor_axis, axis))
    return table


def _over_one_axis(further: Further, stated: tuple[float, ...], table: FurtherTable) -> FurtherTable:
    side, axis = further.sides.target, table.axes[0]
    if table.quantity is FurtherQuantity.PULSE_WIDTH:
        for word, of in (("donor", further.sides.donor), ("target", side)):
            if of.injectors.bent_line is not None or of.injectors.added_time is not None:
                raise NotSupportedYet(
                    f"not supported yet: the {word}'s injectors have a flow line that is not straight, so the pulse "
                    "between two points does not follow from the pulses at them; leave it out",
                    file=side.provenance.file,
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


def _over_two_axes(
    further: Further, own: TargetFurtherTable, table: FurtherTable, scales: tuple[LoadScale, LoadScale]
) -> FurtherTable:
    side, (load_axis, rpm_axis) = further.sides.target, table.axes
    if table.quantity is FurtherQuantity.PULSE_WIDTH:
        raise NotSupportedYet(
            "not supported yet: a further table of pulses over speed and load keeps the donor's points",
            file=side.provenance.file,
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
    assert table.load_pa is not None
    load, pressure = scales[0].converted(load_axis.values, scales[1]), table.load_pa
    if scales[0].kind is not LoadAxis.AIR_MASS:
        load = load_axis.values
    if own.load_points is not None:
        load, pressure = _further_loads(further, own.load_points, scales)
    if own.load_points is None and own.rpm_points is None and np.array_equal(load, load_axis.values):
        return table
    read = interpolation((table.load_pa, pressure), (rpm_axis.values, rpm))
    mixture = table.quantity in (FurtherQuantity.LAMBDA, FurtherQuantity.AIR_FUEL_RATIO)
    if mixture and read.beyond_top_row.any():
        above = load[int(np.flatnonzero(read.beyond_top_row)[0])]
        raise further.error(
            "load_points",
            f"{above:g} {load_axis.unit} lies above the donor's top row, {load_axis.values[-1]:g}, and an intended "
            "mixture is never carried beyond its own table: leave the point out, or extend the donor's table",
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


def _further_loads(
    further: Further, stated: tuple[float, ...], scales: tuple[LoadScale, LoadScale]
) -> tuple[FloatArray, FloatArray]:
    """Loads as shown, lowest first, and the pressures at which the donor's table is read for them.

    On an axis of manifold pressure those are the same pressures. On any other axis they are those of the similar points
    of the donor: the same opening, the same pressure over the barometer, a cylinder as full.
    """
    side, (donor_axis, axis) = further.sides.target, scales
    load = rising_points(axis, np.array(stated))
    pressure = axis.pressure_pa(load)
    place = side.place(f"{further.key}.load_points")
    check_loads(axis, load, pressure, file=side.provenance.file, place=place, of_fuel=False)
    if axis.kind is not LoadAxis.MANIFOLD_PRESSURE:
        pressure = donor_axis.pressure_pa(axis.converted(load, donor_axis))
    return load, pressure
