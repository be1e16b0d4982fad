"""``lambda``: the mixture that a table is meant to give, as a number or as a table of its own."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.constants import SAME
from basemap.errors import InputError
from basemap.jobfile.load_axis import KEY, LoadScale, axis_in
from basemap.jobfile.quantities import UNKNOWN, Measured
from basemap.jobfile.sections import StatedSide
from basemap.jobfile.table import Files, ReadTable, read_file, refuse_other_unit, rising
from basemap.jobfile.table_sections import DonorTable, LambdaFile, TargetTable
from basemap.model.axes import LoadAxis
from basemap.model.further_table import FurtherAxis, FurtherQuantity, FurtherTable
from basemap.model.installation import FloatArray
from basemap.tables.grid import GridFile

LOWEST, HIGHEST = QUANTITIES["tables.fuel.lambda"].range.limits
NOT_HELD = "an intended mixture is never carried beyond its own table; extend the table"


class MixtureTable(NamedTuple):
    """The table that an intended lambda was read from.

    Parameters
    ----------
    axes
        Load and speed, as shown; lowest pressure first.
    load_pa
        The loads as pressures on its own side, Pa.
    mixture
        Lambda, shape (loads, speeds).
    quantity, per_lambda, follows_fuel
        Its scale: what it holds, its number at lambda 1, and whether that number changes with the fuel in use.
    layout, decimals
        How its file is written.
    name
        Its name, if it is a further table; `None` for a file of its own.
    """

    axes: tuple[FurtherAxis, FurtherAxis]
    load_pa: FloatArray
    mixture: FloatArray
    quantity: FurtherQuantity
    per_lambda: float
    follows_fuel: bool
    layout: object
    decimals: int
    name: str | None = None


class Intended(NamedTuple):
    """The intended lambda of a side in every cell of its fuel table, (loads, speeds), and the table it is from."""

    cells: FloatArray
    table: MixtureTable | None = None


def intended_lambda(
    side: StatedSide,
    table: DonorTable | TargetTable,
    grid: ReadTable,
    axis: LoadScale,
    files: Files,
    stoichiometric: float,
    further_tables: tuple[FurtherTable, ...] = (),
) -> Intended:
    """Intended lambda in every cell of the fuel table, and the table that holds it, if there is one.

    Parameters
    ----------
    side, table
        The side of the job, and its fuel table's section.
    grid, axis
        The fuel table, whose load unit a lambda table shares.
    files
        Where tables are read from.
    stoichiometric
        Of the fuel in use, for an air/fuel scale that means it.
    further_tables
        The further tables, one of which the mixture may be.
    """
    key, stated = f"{KEY}.lambda", table.intended_lambda
    shape = grid.values.shape
    if stated is None:
        raise side.error(
            key, 'missing: give the mixture that the table is meant to produce: a number, a file, or "unknown"'
        )
    if stated == UNKNOWN:
        measured = side.assume("intended lambda", key, unknown=True)
        assert measured is not None
        return Intended(np.full(shape, measured.value))
    if isinstance(stated, Measured):
        return Intended(np.full(shape, stated.value))
    section = LambdaFile.model_construct(file=stated) if isinstance(stated, str) else stated
    if section.table is not None:
        return _of_further_table(side, section, (grid, axis), further_tables)
    if section.file is None:
        raise side.error(f"{key}.file", 'missing: name the file of the intended mixture, such as "lambda.csv"')
    found = read_file(side, section, section.file, files, key)
    scale = _scale(side, section, found, stoichiometric)
    values = found.values / scale
    _check(found, values, axis, section)
    refuse_other_unit(found, axis)
    load, pressure, mixture = rising(replace(found, values=values), axis)
    table_of = MixtureTable(
        axes=(FurtherAxis(axis.kind.value, axis.unit, load), FurtherAxis("rpm", "rpm", found.rpm)),
        load_pa=pressure,
        mixture=mixture,
        quantity=FurtherQuantity(section.quantity or "lambda"),
        per_lambda=scale,
        follows_fuel=section.basis == "fuel in use",
        layout=found.layout,
        decimals=found.layout.decimals,
    )
    return Intended(_on_axes(found.name, table_of, grid, axis), table_of)


def _of_further_table(
    side: StatedSide, section: LambdaFile, axes: tuple[ReadTable, LoadScale], further_tables: tuple[FurtherTable, ...]
) -> Intended:
    """The mixture of a further table in lambda or in air/fuel ratio; its own keys say what its cells mean."""
    key, name, (grid, axis) = f"{KEY}.lambda.table", section.table, axes
    for other in ("file", "quantity", "basis", "sheet", "cells", "rows", "decimal"):
        if getattr(section, other) is not None:
            raise side.error(
                f"{KEY}.lambda.{other}", f"is given together with table: it belongs in [donor.tables.{name}]"
            )
    found = next((one for one in further_tables if one.name == name), None)
    if found is not None and found.origin is not None and side.name == "donor":
        found = found.origin
    if found is None:
        known = ", ".join(f'"{one.name}"' for one in further_tables) or "none"
        raise side.error(key, f'there is no further table "{name}" in donor.tables: the job has {known}')
    if found.quantity not in (FurtherQuantity.LAMBDA, FurtherQuantity.AIR_FUEL_RATIO):
        raise side.error(key, f'"{name}" holds {found.quantity}: expected a table in lambda or air/fuel ratio')
    if found.load_pa is None:
        raise side.error(key, f'"{name}" has one axis: expected a table over speed and load')
    load, rpm = found.axes
    kind = LoadAxis(load.name)
    if kind is not axis.kind and not {kind, axis.kind} <= {LoadAxis.MANIFOLD_PRESSURE, LoadAxis.PRESSURE_RATIO}:
        raise side.error(
            key,
            f'"{name}" is over {kind}, and the fuel table over {axis.kind}: give the lambda as a number, or as a file '
            "with the axes of the fuel table",
        )
    # If it is over vacuum or gauge pressure, each side looks it up by its own barometer.
    pressure = axis_in(side, kind, load.unit, axis.conditions).pressure_pa(load.values)
    try:
        _check_covers("engine speed", "rpm", "", rpm.values, grid.rpm)
        _check_load("", (load.values, load.unit, pressure), grid)
    except InputError as error:
        raise side.error(key, f'"{name}" {error.problem}') from None
    per_lambda = found.basis or 1.0
    mixture = found.values / per_lambda
    table = MixtureTable(
        axes=(load, rpm),
        load_pa=pressure,
        mixture=mixture,
        quantity=found.quantity,
        per_lambda=per_lambda,
        follows_fuel=found.follows_fuel,
        layout=found.layout,
        decimals=found.shown.decimals,
        name=found.name,
    )
    return Intended(_interpolated(mixture, rpm.values, pressure, grid), table)


def _scale(side: StatedSide, section: LambdaFile, found: GridFile, stoichiometric: float) -> float:
    """What the numbers of the file are divided by: the ratio that an air/fuel scale means."""
    key = f"{KEY}.lambda.basis"
    if section.quantity != "air/fuel ratio":
        if section.basis is not None and not isinstance(section.basis, str):
            raise side.error(
                key, f"is only for an air/fuel ratio, as in {_as_ratio(found.name)}; a file of lambda needs no basis"
            )
        return 1.0
    if isinstance(section.basis, Measured):
        return section.basis.value
    if section.basis == "fuel in use":
        return stoichiometric
    raise side.error(
        key,
        f'missing: give the ratio that the air/fuel scale of {found.name} calls lambda 1, such as 14.7, or "fuel in '
        f'use": {_as_ratio(found.name)}',
    )


def _as_ratio(file: str) -> str:
    """How a job names a file of air/fuel ratios as its intended lambda."""
    return f'lambda = {{ file = "{file}", quantity = "air/fuel ratio", basis = 14.7 }}'


def _check(found: GridFile, values: FloatArray, axis: LoadScale, section: LambdaFile) -> None:
    for row, column in np.argwhere((values < LOWEST) | (values > HIGHEST)):
        cell = found.values[row, column]
        hint = "is the scale's basis right?"
        if section.quantity != "air/fuel ratio":
            ratio = (
                f"it looks like an air/fuel ratio: write {_as_ratio(found.name)}, where basis is the ratio at lambda 1"
            )
            hint = ratio if 6.0 <= cell <= 20.0 else "is it lambda?"
        raise InputError(
            f"holds {cell:g}, a lambda of {values[row, column]:.4g}, outside the plausible range {LOWEST:g} to "
            f"{HIGHEST:g}: {hint}",
            file=found.name,
            place=f"{found.load[row]:g} {axis.unit}, {found.rpm[column]:g} rpm",
        )


def _on_axes(name: str, found: MixtureTable, grid: ReadTable, axis: LoadScale) -> FloatArray:
    """Bilinear in (rpm, load). A lambda table must reach as far as the fuel table: its edge is not held."""
    load, rpm = (one.values for one in found.axes)
    _check_covers("engine speed", "rpm", name, rpm, grid.rpm)
    _check_load(name, (load, axis.unit, found.load_pa), grid)
    return _interpolated(found.mixture, rpm, found.load_pa, grid)


def _interpolated(values: FloatArray, rpm: FloatArray, pressure: FloatArray, grid: ReadTable) -> FloatArray:
    across = np.array([np.interp(grid.rpm, rpm, row) for row in values])
    return np.array([np.interp(grid.load_pa, pressure, column) for column in across.T]).T


def _check_load(name: str, has: tuple[FloatArray, str, FloatArray], grid: ReadTable) -> None:
    load, unit, pressure = has
    if grid.load_pa[0] < pressure[0] * (1 - SAME) or grid.load_pa[-1] > pressure[-1] * (1 + SAME):
        raise InputError(
            f"covers a load of {load[0]:g} to {load[-1]:g} {unit}, but the fuel table has "
            f"{grid.shown.load[0]:g} to {grid.shown.load[-1]:g}: {NOT_HELD}",
            file=name,
        )


def _check_covers(what: str, unit: str, name: str, has: FloatArray, needed: FloatArray) -> None:
    if needed[0] < has[0] * (1 - SAME) or needed[-1] > has[-1] * (1 + SAME):
        raise InputError(
            f"covers an {what} of {has[0]:g} to {has[-1]:g} {unit}, but the fuel table has {needed[0]:g} to "
            f"{needed[-1]:g}: {NOT_HELD}",
            file=name,
        )
