"""Further keys of a table over throttle opening: what its ECU multiplies a cell by, and the pressures for that."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.quantities.engine import MANIFOLD_PRESSURE
from basemap.errors import InputError
from basemap.jobfile.load_axis import KEY, LoadScale
from basemap.jobfile.quantities import axis_scale
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table import Files, ReadTable, read_file, rising
from basemap.jobfile.table_sections import DonorTable, PressureFile
from basemap.model.axes import LoadAxis, same_points
from basemap.model.installation import FloatArray, Induction, Installation

ROW_PRESSURE = f"{KEY}.row_pressure"
HIGHEST_RATIO = 1.05
"""How far a stated pressure may exceed the barometer: two gauges read differently."""


def check_applies(side: StatedSide, axis: LoadScale, applies: tuple[str, ...] | str) -> None:
    """Refuse what an ECU cannot multiply a cell by on this load axis."""
    key, throttle = f"{KEY}.ecu_applies", axis.kind is LoadAxis.THROTTLE
    if "barometer" in applies and not throttle:
        raise side.error(
            key,
            f'"barometer" is only for a throttle axis: on {_article(axis.kind)} axis the pressure already includes it',
        )
    if "barometer" in applies and "pressure" in applies:
        raise side.error(
            key, 'names "barometer" and "pressure": manifold pressure already includes the barometer; give only one'
        )
    if throttle and applies == "unknown":
        raise side.error(
            key,
            'must not be "unknown" with a throttle axis, whose cells imply a volumetric efficiency only wide open: '
            'say what the ECU still applies to a cell, such as ["lambda", "dead time"]',
        )


def _article(kind: LoadAxis) -> str:
    return f"an {kind}" if kind is LoadAxis.AIR_MASS else f"a {kind}"


def row_pressures(
    donor: StatedSide, table: DonorTable, needed: bool, grid: ReadTable, axis: LoadScale, files: Files
) -> FloatArray | None:
    """Manifold pressure of every cell where the donor's ECU multiplies by it, shape (loads, speeds), Pa.

    Parameters
    ----------
    needed
        Whether the ECU does so on a throttle axis.
    grid, axis
        The fuel table, whose points the pressures share.
    """
    stated = table.row_pressure
    if not needed:
        if stated is not None:
            raise donor.error(
                ROW_PRESSURE,
                'is only for a throttle axis on which the ECU applies "pressure": leave it out, or correct load or '
                "ecu_applies",
            )
        return None
    if stated is None:
        raise donor.error(
            ROW_PRESSURE,
            'missing: on a throttle axis an ECU that applies "pressure" multiplies each cell by a manifold pressure '
            "that the axis does not give: name a file of these pressures on the same points, such as { file = "
            '"map.csv", unit = "kPa" }, or correct ecu_applies',
        )
    section = PressureFile.model_construct(file=stated) if isinstance(stated, str) else stated
    if section.file is None:
        raise donor.error(f"{ROW_PRESSURE}.file", 'missing: name the file of the manifold pressures, such as "map.csv"')
    found = read_file(donor, section, section.file, files, ROW_PRESSURE)
    load, _, values = rising(found, axis)
    if not (same_points(load, grid.shown.load) and same_points(found.rpm, grid.rpm)):
        raise InputError(
            f"does not have the points of the fuel table: expected {grid.shown.load.size} openings from "
            f"{grid.shown.load[0]:g} to {grid.shown.load[-1]:g} {axis.unit} and {grid.rpm.size} speeds from "
            f"{grid.rpm[0]:g} to {grid.rpm[-1]:g} rpm",
            file=found.name,
        )
    return _checked(donor, section, values, load, found.rpm, found.name, axis)


def _checked(
    donor: StatedSide,
    section: PressureFile,
    values: FloatArray,
    load: FloatArray,
    rpm: FloatArray,
    name: str,
    axis: LoadScale,
) -> FloatArray:
    try:
        size, reference = axis_scale(section.unit or "kPa")
    except InputError as error:
        raise error.within(file=donor.provenance.file, place=donor.place(f"{ROW_PRESSURE}.unit")) from None
    barometer = axis.conditions.barometer_pa
    stated = values * size
    pressure = {"absolute": stated, "gauge": barometer + stated, "vacuum": barometer - stated}[reference]
    lowest, _ = MANIFOLD_PRESSURE.limits
    for row, column in np.argwhere((pressure < lowest) | (pressure > HIGHEST_RATIO * barometer)):
        raise InputError(
            f"holds {values[row, column]:g}, which is {pressure[row, column] / 1e3:.4g} kPa absolute: expected "
            f"{lowest / 1e3:g} kPa to just above the donor's barometer, {barometer / 1e3:.4g} kPa; is unit right?",
            file=name,
            place=f"{load[row]:g} {axis.unit}, {rpm[column]:g} rpm",
        )
    return pressure


def refuse_boost(side: StatedSide, installation: Installation) -> None:
    """Refuse boost over throttle opening: behind a compressor, the air before the blade is not at the barometer."""
    if installation.engine.induction is Induction.BOOSTED:
        raise side.error(
            "engine.induction",
            '"boosted" cannot be used with a table over throttle opening: with a compressor, on either side, the '
            "opening does not determine the air; use a map over manifold pressure",
        )
