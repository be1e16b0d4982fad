"""The sections of the job file's tables."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, Tag

from basemap.jobfile import fields as f
from basemap.jobfile import readers
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.section import Section, Sourced, tagged


class TableFile(Section):
    """A table in a file, and how to read it."""

    file: f.Text | None = None
    sheet: f.Text | None = None
    cells: f.Text | None = None
    rows: f.Rows | None = None
    decimal: f.DecimalMark | None = None


class LambdaFile(TableFile):
    """``lambda = { file = … }``."""

    quantity: f.LambdaQuantity | None = None
    basis: f.BasisOf | None = None
    table: f.Text | None = None


_Lambda = Annotated[
    Annotated[f.LambdaNumber, Tag("number")]
    | Annotated[f.Text, Tag("file")]
    | Annotated[Literal["unknown"], Tag("unknown")]
    | Annotated[LambdaFile, Tag("section")],
    tagged(
        ("unknown", lambda value: value == UNKNOWN),
        ("section", lambda value: isinstance(value, dict)),
        ("number", readers.is_lambda_number),
        other="file",
    ),
]


class PressureFile(TableFile):
    """``row_pressure = { file = … }``."""

    unit: f.Text | None = None


_RowPressure = Annotated[
    Annotated[f.Text, Tag("file")] | Annotated[PressureFile, Tag("section")],
    tagged(("section", lambda value: isinstance(value, dict)), other="file"),
]


class DonorTable(TableFile):
    """``[donor.tables.fuel]``."""

    unit: f.Text | None = None
    quantity: f.Quantity | None = None
    ecu_applies: f.EcuApplies | None = None
    load: f.Load | None = None
    load_unit: f.Text | None = None
    reference_pressure: f.ManifoldPressure | None = None
    row_pressure: _RowPressure | None = None
    basis: f.BasisOf | None = None
    intended_lambda: _Lambda | None = Field(default=None, alias="lambda")
    battery: f.Battery | None = None


class TargetTable(Section):
    """``[target.tables.fuel]``."""

    quantity: f.Quantity | None = None
    ecu_applies: f.EcuApplies | None = None
    intended_lambda: _Lambda | None = Field(default=None, alias="lambda")
    battery: f.Battery | None = None
    reference_pressure: f.ManifoldPressure | None = None
    basis: f.BasisOf | None = None
    decimals: f.Decimals | None = None
    minimum: f.StorageNumber | None = None
    maximum: f.StorageNumber | None = None
    step: f.StorageStep | None = None
    load_unit: f.Text | None = None
    rpm_points: f.Points | None = None
    load_points: f.Points | None = None


class DonorFurtherTable(TableFile):
    """``[donor.tables.NAME]``: a further table under a name of the user's own."""

    unit: f.Text | None = None
    quantity: f.FurtherQuantity | None = None
    ecu_applies: f.FurtherApplies | None = None
    axis: f.Text | None = None
    axis_unit: f.Text | None = None
    load: f.FurtherLoad | None = None
    load_unit: f.Text | None = None
    reference_pressure: f.ManifoldPressure | None = None
    basis: f.BasisOf | None = None
    battery: f.Battery | None = None
    openings_per_cycle: f.ToldOpenings | None = None
    rail_pressure: f.RailPressure | None = None


class TargetFurtherTable(Section):
    """``[target.tables.NAME]``: what the target says of a further table."""

    quantity: f.FurtherQuantity | None = None
    ecu_applies: f.FurtherApplies | None = None
    battery: f.Battery | None = None
    openings_per_cycle: f.ToldOpenings | None = None
    rail_pressure: f.RailPressure | None = None
    basis: f.BasisOf | None = None
    decimals: f.Decimals | None = None
    minimum: f.StorageNumber | None = None
    maximum: f.StorageNumber | None = None
    step: f.StorageStep | None = None
    load_unit: f.FurtherAxes = None
    axis_points: f.Points | None = None
    rpm_points: f.Points | None = None
    load_points: f.Points | None = None


class DonorTables(Sourced):
    """``[donor.tables]``: "fuel", and further ones under names of the user's own."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, DonorFurtherTable]

    fuel: DonorTable | None = None


class TargetTables(Sourced):
    """``[target.tables]``."""

    model_config = ConfigDict(extra="allow")
    __pydantic_extra__: dict[str, TargetFurtherTable]

    fuel: TargetTable | None = None


COMPANIONS: dict[type[BaseModel], type[BaseModel]] = {DonorTables: DonorFurtherTable, TargetTables: TargetFurtherTable}
"""Sections with further sections under any name → the model of those."""
