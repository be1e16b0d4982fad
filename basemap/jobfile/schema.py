"""The job file's sections and keys, also those of later versions; those of tables are in `table_sections`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, Tag

from basemap.jobfile import fields as f
from basemap.jobfile.firing import FiringOrder
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.section import Section, Sourced, tagged
from basemap.jobfile.table_sections import DonorTables, TargetTables


class ConditionsSection(Sourced):
    """``[conditions]`` and its overrides of either side."""

    barometer: f.Barometer | None = None
    altitude: f.Altitude | None = None
    charge_temperature: f.ChargeTemperature | None = None
    battery: f.Battery | None = None


class TargetConditions(ConditionsSection):
    """``[target.conditions]``: also the weather that its engine will see."""

    charge_temperature_range: f.ChargeRange | None = None


class ThrottlesSection(Section):
    """``throttles = { count, bore, feeds }``: all throttles of an engine, alike."""

    count: f.Count | None = None
    bore: f.Bore | None = None
    feeds: f.Cylinders | None = None


HOW_THROTTLES = (
    'throttles = { count = 4, bore = "40 mm", feeds = 1 }, feeds being the cylinders that draw through each; of one '
    'throttle say throttle_bore = "60 mm" instead'
)
"""How throttles are written, for messages."""


class EngineSection(Sourced):
    """``[donor.engine]``."""

    displacement: f.Volume | None = None
    cylinders: f.Cylinders | None = None
    cycle: f.Cycle | None = None
    induction: f.Induction | None = None
    compression_ratio: f.CompressionRatio | None = None
    inlet_valve_area: f.ValveArea | None = None
    rev_limit: f.Speed | None = None
    peak_pressure: f.ManifoldPressure | None = None
    rated_power: f.PowerAtSpeed | None = None
    peak_torque: f.TorqueAtSpeed | None = None
    firing_order: FiringOrder | None = None
    trigger: f.Text | None = None
    throttle_bore: f.Bore | None = None
    throttles: ThrottlesSection | None = None


class TargetEngine(EngineSection):
    """``[target.engine]``: also what it shares, what its ECU will enforce, and how it starts and idles."""

    likeness: f.Likeness | None = None
    load_cut: f.ManifoldPressure | None = None
    rev_cut: f.Speed | None = None
    idle: f.IdlePoint | None = None
    cranking: f.CrankingSpeed | None = None
    coldest_start: f.ColdTemperature | None = None


class DeadTimeSection(Sourced):
    """``[….dead_time]``: one list of times, or one for each pressure."""

    battery: f.Batteries | None = None
    time: f.DeadTimes | None = None
    pressure: f.RailPressures | None = None


_DeadTimeOrUnknown = Annotated[
    Annotated[DeadTimeSection, Tag("section")] | Annotated[Literal["unknown"], Tag("unknown")],
    tagged(("unknown", lambda value: value == UNKNOWN), other="section"),
]


class BentLineSection(Sourced):
    """``[….injectors.bent_line]``: a flow line of one slope up to a bend and of another above it."""

    below: f.Flow | None = None
    above: f.Flow | None = None
    at_mass: f.MassAtBend | None = None


class AddedTimeSection(Sourced):
    """``[….injectors.added_time]``: how much longer short pulses must be than the flow line says."""

    open: f.AddedTimes | None = None
    time: f.AddedTimes | None = None


class InjectorsSection(Sourced):
    """``[….injectors]``."""

    static_flow: f.Flow | None = None
    rated_pressure: f.RatedPressure | None = None
    rated_fluid: f.RatedFluid | None = None
    per_cylinder: f.PerCylinder | None = None
    count: f.Count | None = None
    openings_per_cycle: f.Openings | None = None
    shortest_pulse: f.ShortestPulse | None = None
    highest_pressure: f.RailPressure | None = None
    slope: f.Flow | None = None
    dead_time: _DeadTimeOrUnknown | None = None
    bent_line: BentLineSection | None = None
    added_time: AddedTimeSection | None = None


class FuelSection(Sourced):
    """``[….fuel]``."""

    blend: f.Text | None = None
    parts: dict[str, f.Percent] | None = None
    stoichiometric: f.Stoichiometric | None = None
    density: f.Density | None = None
    density_at: f.StatedTemperature | None = None
    octane: f.Octane | None = None
    rail_pressure: f.RailPressure | None = None
    regulator: f.Regulator | None = None
    temperature: f.FuelTemperature | None = None


class TargetFuel(FuelSection):
    """``[target.fuel]``: also what its pump gives."""

    pump: f.Pump | None = None


class ToldDeadTime(DeadTimeSection):
    """``[….settings.dead_time]``: also an ECU that multiplies its pulses instead of adding to them."""

    percent: f.BatteryPercents | None = None
    at_pulse: f.ShortestPulse | None = None


class SettingsSection(Sourced):
    """``[donor.settings]``: what the ECU was told."""

    displacement: f.Volume | None = None
    static_flow: f.Flow | None = None
    stoichiometric: f.Stoichiometric | None = None
    openings_per_cycle: f.ToldOpenings | None = None
    dead_time: ToldDeadTime | None = None
    corrects_rail_pressure: f.YesNo | None = None
    corrects_charge_temperature: f.YesNoOrUnknown | None = None
    formula_factor: f.FormulaFactor | None = None
    fuel_density: f.Density | None = None
    bent_line: f.YesNo | None = None
    added_time: f.YesNo | None = None
    minimum_pulse: f.ShortestPulse | None = None
    same_as_hardware: f.YesNo | None = None


class SettingField(Section):
    """``[target.settings.fields.NAME]``: what one field of the target's ECU can hold, in the unit to enter it in."""

    minimum: f.StorageNumber | None = None
    maximum: f.StorageNumber | None = None
    step: f.StorageStep | None = None
    decimals: f.Decimals | None = None


class SettingFields(Section):
    """``[target.settings.fields]``."""

    displacement: SettingField | None = None
    static_flow: SettingField | None = None
    stoichiometric: SettingField | None = None
    fuel_density: SettingField | None = None
    dead_time: SettingField | None = None


class TargetSettings(SettingsSection):
    """``[target.settings]``: also the settings that keep the donor's value, and what its fields can hold."""

    cannot_be_told: f.Stuck | None = None
    fields: SettingFields | None = None


class Sensor(Section):
    """``[….sensors.NAME]``: points, or a thermistor."""

    kind: f.SensorKind | None = None
    volts: f.SensorVolts | None = None
    value: f.SensorValues | None = None
    basis: f.BasisOf | None = None
    resistance: f.Resistances | None = None
    pull_up: f.PullUp | None = None
    supply: f.Supply | None = None
    error: f.Text | None = None


def _section(value: object) -> object:
    """``fuel = "unknown"`` says the same as ``blend = "unknown"``."""
    return {"blend": UNKNOWN} if value == UNKNOWN else value


_Fuel = Annotated[FuelSection, BeforeValidator(_section)]
_TargetFuel = Annotated[TargetFuel, BeforeValidator(_section)]


class Donor(Sourced):
    """``[donor]``."""

    state: f.DonorState | None = None
    cylinder_trims: f.YesNoOrUnknown | None = None
    conditions: ConditionsSection | None = None
    engine: EngineSection | None = None
    injectors: InjectorsSection | None = None
    fuel: _Fuel | None = None
    settings: SettingsSection | None = None
    tables: DonorTables | None = None
    sensors: dict[str, Sensor] | None = None


class Target(Sourced):
    """``[target]``."""

    same_as_donor: f.Sections | None = None
    conditions: TargetConditions | None = None
    engine: TargetEngine | None = None
    injectors: InjectorsSection | None = None
    fuel: _TargetFuel | None = None
    settings: TargetSettings | None = None
    tables: TargetTables | None = None
    sensors: dict[str, Sensor] | None = None


class Options(Sourced):
    """``[options]``."""

    breathing: f.Breathing | None = None
    breathing_both_ways: f.YesNo | None = None
    richer_at_load: f.RicherAtLoad | None = None


class JobFile(Sourced):
    """The whole file."""

    title: f.Text | None = None
    conditions: ConditionsSection | None = None
    donor: Donor | None = None
    target: Target | None = None
    options: Options | None = None
    log: dict[str, Any] | None = None
    learnt: dict[str, Any] | None = None


def keys_of(section: type[BaseModel]) -> dict[str, type[BaseModel] | None]:
    """Keys that a section takes, each with the section it leads to, if any."""
    return {field.alias or name: _leads_to(field.annotation) for name, field in section.model_fields.items()}


def _leads_to(annotation: object) -> type[BaseModel] | None:
    """The section within an annotation such as ``Section | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        if (found := _leads_to(part)) is not None:
            return found
    return None
