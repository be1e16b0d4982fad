"""Types of the job file's keys, each with its reader."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import PlainValidator

from basemap.adaptation.quantities.kinds import FORMS, Kind
from basemap.jobfile.octane import read_octane
from basemap.jobfile.quantities import UNKNOWN, Measured
from basemap.jobfile.readers import (
    MOST_POINTS,
    Reader,
    count,
    lambda_number,
    list_of,
    listed,
    not_yet,
    one_of,
    quantity,
    read_as_written,
    read_basis,
    read_charge_range,
    read_flow,
    read_points,
    read_pump,
    read_rail_pressure,
    read_rated_fluid,
    read_step,
    read_storage_number,
    read_text,
    read_times,
    read_yes_no,
    read_yes_no_or_unknown,
    several_of,
    whole,
    written_as,
)
from basemap.jobfile.renamed import STUCK

_NUMBER: dict[str, Any] = {"type": "number"}
_TIME = written_as(Kind.TIME)
_BASES = ("measured", "printed", "told", "guessed")
Unknown = Literal["unknown"]
Basis = Literal["measured", "printed", "told", "guessed"]
Text = Annotated[str, Reader(read_text, takes={"type": "string"})]
YesNo = Annotated[bool, Reader(read_yes_no, takes={"type": "boolean"})]
BasisOf = Annotated[
    Literal["measured", "printed", "told", "guessed", "fuel in use"] | Measured,
    Reader(read_basis, takes={"anyOf": [{"enum": [*_BASES, "fuel in use"]}, {"type": ["number", "string"]}]}),
]
SectionBasis = Annotated[Basis, one_of(*_BASES)]

Volume = Annotated[Measured, quantity("engine.displacement")]
Barometer = Annotated[Measured, quantity("conditions.barometer")]
Altitude = Annotated[Measured, quantity("conditions.altitude")]
ChargeTemperature = Annotated[Measured, quantity("conditions.charge_temperature")]
ChargeRange = Annotated[tuple[Measured, Measured], PlainValidator(read_charge_range)]
Pump = Annotated[Measured, PlainValidator(read_pump)]
FuelTemperature = Annotated[Measured | Unknown, quantity("fuel.temperature", also=UNKNOWN)]
StatedTemperature = Annotated[Measured, quantity("fuel.density_at")]
ColdTemperature = Annotated[Measured, quantity("engine.coldest_start")]
Battery = Annotated[Measured, quantity("conditions.battery")]
Batteries = Annotated[tuple[Measured, ...], list_of("injectors.dead_time.battery")]
DeadTimes = Annotated[
    tuple[tuple[Measured, ...], ...],
    Reader(read_times, takes=listed({"anyOf": [_TIME, {"type": "array", "items": _TIME}]}, _TIME)),
]
AddedTimes = Annotated[tuple[Measured, ...], list_of("injectors.added_time.time")]
BatteryPercents = Annotated[tuple[Measured, ...], list_of("settings.dead_time.percent")]
RailPressure = Annotated[Measured, Reader(read_rail_pressure, takes=written_as(Kind.RAIL_PRESSURE))]
RatedPressure = Annotated[Measured | Unknown, quantity("injectors.rated_pressure", also=UNKNOWN)]
RailPressures = Annotated[tuple[Measured, ...], list_of("injectors.dead_time.pressure")]
ManifoldPressure = Annotated[Measured, quantity("engine.peak_pressure")]
Flow = Annotated[Measured, Reader(read_flow, takes=written_as(Kind.FLOW))]
Density = Annotated[Measured, quantity("fuel.density")]
RatedFluid = Annotated[
    Measured | str,
    Reader(read_rated_fluid, takes={"type": "string", "examples": ["n-heptane", FORMS[Kind.DENSITY].example]}),
]
Speed = Annotated[Measured, quantity("engine.rev_limit")]
CrankingSpeed = Annotated[Measured, quantity("engine.cranking")]
IdlePoint = Annotated[Measured, quantity("engine.idle")]
PowerAtSpeed = Annotated[Measured, quantity("engine.rated_power")]
TorqueAtSpeed = Annotated[Measured, quantity("engine.peak_torque")]
RicherAtLoad = Annotated[Measured, quantity("options.richer_at_load")]
MassAtBend = Annotated[Measured, quantity("injectors.bent_line.at_mass")]
ShortestPulse = Annotated[Measured, quantity("injectors.shortest_pulse")]
CompressionRatio = Annotated[Measured, quantity("engine.compression_ratio")]
Stoichiometric = Annotated[Measured, quantity("fuel.stoichiometric")]
Bore = Annotated[Measured, quantity("engine.throttle_bore")]
ValveArea = Annotated[Measured, quantity("engine.inlet_valve_area")]
Octane = Annotated[Measured, Reader(read_octane, takes={"type": ["number", "string"], "examples": [95, "91 AKI"]})]
FormulaFactor = Annotated[Measured, quantity("settings.formula_factor")]
PerCylinder = Annotated[Measured, quantity("injectors.per_cylinder")]
Openings = Annotated[Measured | Unknown, quantity("injectors.openings_per_cycle", also=UNKNOWN)]
ToldOpenings = Annotated[Measured, quantity("settings.openings_per_cycle")]
Percent = Annotated[Measured, quantity("fuel.parts")]
Count = Annotated[int, count("injectors.count")]
Cylinders = Annotated[int, count("engine.cylinders")]
Decimals = Annotated[int, whole(0, 9)]
StorageNumber = Annotated[float, Reader(read_storage_number, takes=_NUMBER)]
StorageStep = Annotated[float, Reader(read_step, takes={"type": "number", "exclusiveMinimum": 0})]

Cycle = Annotated[str, one_of("four-stroke", "two-stroke")]
Induction = Annotated[str, one_of("atmospheric", "boosted")]
Regulator = Annotated[str, one_of("manifold", "fixed")]
DonorState = Annotated[str, one_of("tuned", "generic", "unknown")]
_MAIN = 'the main table is "volumetric efficiency" or "pulse width" in this version'
Quantity = Annotated[
    str,
    one_of("volumetric efficiency", "pulse width", later={"air/fuel ratio": _MAIN, "lambda": _MAIN, "percent": _MAIN}),
]
Load = Annotated[str, one_of("manifold pressure", "pressure ratio", "throttle", "air mass")]
Breathing = Annotated[str, one_of("same", "inlet mach", "residual gas")]
Likeness = Annotated[str, one_of("same engine", "same head and cams", "another engine")]
EcuApplies = Annotated[
    tuple[str, ...] | Unknown, several_of("pressure", "lambda", "dead time", "barometer", unknown=True)
]
FurtherApplies = Annotated[tuple[str, ...] | Unknown, several_of("pressure", "lambda", "dead time", unknown=True)]
YesNoOrUnknown = Annotated[bool | Unknown, Reader(read_yes_no_or_unknown, takes={"enum": [True, False, UNKNOWN]})]
Sections = Annotated[tuple[str, ...], several_of("engine", "injectors", "fuel", "conditions", "settings")]
Stuck = Annotated[
    tuple[str, ...],
    several_of(
        "displacement",
        "static_flow",
        "stoichiometric",
        "openings_per_cycle",
        "dead_time",
        "bent_line",
        "added_time",
        "fuel_density",
        "sensors",
        renamed=STUCK,
    ),
]
Rows = Annotated[str, one_of("load", "rpm")]
DecimalMark = Annotated[str, one_of(",", ".")]
LambdaQuantity = Annotated[str, one_of("lambda", "air/fuel ratio")]
LambdaNumber = Annotated[Measured, Reader(lambda_number, takes=written_as(Kind.NUMBER))]

SensorKind = Annotated[str, one_of("lambda", "air/fuel ratio", "pressure", "temperature", "position")]
SensorVolts = Annotated[tuple[Measured, ...], list_of("sensors.NAME.volts")]
SensorValues = Annotated[tuple[object, ...], Reader(read_as_written, takes={"type": "array", "minItems": 2})]
Resistances = Annotated[tuple[Measured, ...], list_of("sensors.NAME.resistance")]
PullUp = Annotated[Measured, quantity("sensors.NAME.pull_up")]
Supply = Annotated[Measured, quantity("sensors.NAME.supply")]

Points = Annotated[
    tuple[float, ...],
    Reader(read_points, takes={"type": "array", "items": _NUMBER, "minItems": 2, "maxItems": MOST_POINTS}),
]
FurtherQuantity = Annotated[
    str,
    one_of(
        "pulse width",
        "percent",
        "lambda",
        "air/fuel ratio",
        later={"volumetric efficiency": 'the main table "fuel" holds that; a further table of it is not adapted'},
    ),
]
FurtherLoad = Annotated[str, one_of("manifold pressure", "pressure ratio", "throttle", "air mass")]
FurtherAxes = Annotated[None, not_yet("a further table keeps the unit of the donor's axis in this version")]
