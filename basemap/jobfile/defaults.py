"""What the program puts in for what a job leaves out, or for what it calls "unknown".

One table, so that the documentation prints what the program does.
"""

from __future__ import annotations

from dataclasses import dataclass

from basemap.adaptation.quantities.kinds import Kind


@dataclass(frozen=True)
class Default:
    """One default.

    Parameters
    ----------
    key
        Job-file key without its side: ``injectors.rated_pressure`` stands for donor and target.
    value
        As a job file would write it.
    half_width
        Of the spread that enters the uncertainty, as a job file would write it; `None` where there is none.
    when
        ``left out``, ``unknown``, or ``either``.
    why
        Reason for the value.
    moves
        What it moves most.
    kind
        What the value is, where it is a quantity.
    input_key
        Key under which the spread is kept, where it differs from `key`.
    """

    key: str
    value: str
    half_width: str | None
    when: str
    why: str
    moves: str = ""
    kind: Kind | None = None
    input_key: str | None = None

    @property
    def text(self) -> str:
        """Value and spread as one quantity."""
        return self.value if self.half_width is None else f"{self.value} ± {self.half_width}"


DEFAULTS = {
    "barometer": Default(
        "conditions.barometer",
        "101.325 kPa",
        None,
        "left out",
        "sea level, ISO 2533",
        "where an atmospheric engine's load ends; the flow on a fixed rail",
        Kind.BAROMETER,
    ),
    "charge temperature": Default(
        "conditions.charge_temperature",
        "40 degC",
        None,
        "left out",
        "a warm engine on a mild day, common practice",
        "the air in the cylinder, 0.3 % for each degree that the two sides differ",
        Kind.TEMPERATURE,
    ),
    "battery": Default(
        "conditions.battery",
        "13.8 V",
        None,
        "left out",
        "a charging alternator, common practice",
        "the dead time",
        Kind.VOLTAGE,
    ),
    "state": Default(
        "donor.state",
        "unknown",
        None,
        "left out",
        "the job does not say how the donor's table was made",
        "how far its volumetric efficiency is trusted: 10 % instead of 3 % for a tuned one",
    ),
    "cycle": Default("engine.cycle", "four-stroke", None, "left out", "nearly every engine", "the duty, by 2"),
    "induction": Default(
        "engine.induction",
        "atmospheric",
        None,
        "left out",
        "the table has no row well above the barometer",
        "which cells are reached",
    ),
    "idle": Default(
        "engine.idle",
        "900 rpm @ 35 kPa",
        None,
        "left out",
        "a usual idle, common practice",
        "where idle is judged",
        Kind.SPEED_AT_PRESSURE,
    ),
    "cranking": Default(
        "engine.cranking",
        "200 rpm",
        None,
        "left out",
        "a usual starter, common practice",
        "where starting is judged",
        Kind.SPEED,
    ),
    "coldest start": Default(
        "engine.coldest_start",
        "0 degC",
        None,
        "left out",
        "a mild winter",
        "whether cold fuelling is warned of",
        Kind.TEMPERATURE,
    ),
    "rated pressure": Default(
        "injectors.rated_pressure",
        "3.0 bar",
        "0.5 bar",
        "unknown",
        "the usual rating pressure",
        "the flow, 8 %",
        Kind.RAIL_PRESSURE,
    ),
    "rated fluid": Default(
        "injectors.rated_fluid",
        "n-heptane",
        None,
        "left out",
        "the usual test fluid, at 20 degC, 683.8 kg/m3",
        "the flow, half as far as the density",
    ),
    "rated fluid unknown": Default(
        "injectors.rated_fluid",
        "0.70 g/cc",
        "0.04 g/cc",
        "unknown",
        "spans n-heptane and the usual test fluids",
        "the flow, 3 %",
        Kind.DENSITY,
    ),
    "per cylinder": Default(
        "injectors.per_cylinder", "1", None, "left out", "port injection", "the fuel, in proportion", Kind.NUMBER
    ),
    "openings": Default(
        "injectors.openings_per_cycle",
        "1",
        None,
        "either",
        "sequential injection",
        "the fuel, in proportion: twice a cycle delivers twice as much",
        Kind.NUMBER,
    ),
    "dead time": Default(
        "injectors.dead_time",
        "0.9 ms",
        "0.4 ms",
        "unknown",
        "at 14 V, falling by 0.2 ms/V; common practice",
        "short pulses: idle and light load",
        Kind.TIME,
        input_key="injectors.dead_time.time",
    ),
    "dead time of the settings": Default(
        "injectors.dead_time",
        "as the settings",
        "0.3 ms",
        "either",
        "what the ECU was told is taken for what the injectors do",
        "short pulses: idle and light load",
    ),
    "blend": Default(
        "fuel.blend",
        "petrol with 5 % ethanol",
        "5 %",
        "unknown",
        "pump petrol holds 0 to 10 % by volume",
        "the mixture, 2 %",
    ),
    "fuel temperature": Default(
        "fuel.temperature",
        "40 degC",
        "20 degC",
        "either",
        "rails are met at 30 to 60 degC",
        "the fuel's density, 0.12 % for each degree",
        Kind.TEMPERATURE,
    ),
    "fuel density": Default(
        "fuel.density",
        "as the target's",
        None,
        "left out",
        "only the ratio is told; the density cancels",
    ),
    "corrects rail pressure": Default(
        "settings.corrects_rail_pressure",
        "false",
        None,
        "left out",
        "few ECUs measure it",
        "the mixture over load on a fixed rail, or where the rail pressures differ",
    ),
    "corrects charge temperature, VE": Default(
        "settings.corrects_charge_temperature",
        "true",
        None,
        "either",
        "a VE formula holds the charge temperature",
        "the mixture, by the ratio of the two charge temperatures",
    ),
    "corrects charge temperature, pulse width": Default(
        "settings.corrects_charge_temperature",
        "false",
        None,
        "either",
        "a pulse-width table is a pulse as it stands",
        "the mixture, by the ratio of the two charge temperatures",
    ),
    "formula factor": Default(
        "settings.formula_factor",
        "1",
        "5 %",
        "left out",
        "the ECU's constants are those of physics, within 5 %",
        "absolute pulses only: it cancels in the new table where every setting is truthful",
        Kind.NUMBER,
    ),
    "told displacement": Default(
        "settings.displacement",
        "as the donor's engine",
        "2 %",
        "left out",
        "nobody read the settings page; displacements are entered rounded, 2.0 l for 1998 cc (common practice)",
        "every pulse, in proportion",
    ),
    "told flow": Default(
        "settings.static_flow",
        "as the donor's injectors",
        "10 %",
        "left out",
        "nobody read the settings page; flows are entered at another pressure, or bent until a table fits (practice)",
        "every pulse, in proportion",
    ),
    "told ratio": Default(
        "settings.stoichiometric",
        "as the donor's fuel",
        "3 %",
        "left out",
        "nobody read the settings page; 14.7 is entered whatever the petrol holds (common practice)",
        "every pulse, in proportion",
    ),
    "told dead time": Default(
        "settings.dead_time",
        "as the donor's injectors",
        "0.15 ms",
        "left out",
        "nobody read the settings page; the dead times of similar injectors are entered (common practice)",
        "short pulses: idle and light load",
    ),
    "hardware as told": Default(
        "",
        "as the settings",
        None,
        "left out",
        "what the ECU was told is taken for what is fitted",
        "everything that rests on it",
    ),
    "intended lambda": Default(
        "tables.fuel.lambda",
        "0.95",
        "0.10",
        "unknown",
        "between cruise and full load",
        "the air that the cells stand for",
        Kind.NUMBER,
    ),
    "ecu applies, VE": Default(
        "tables.fuel.ecu_applies",
        '["pressure", "lambda", "dead time"]',
        None,
        "left out",
        "volumetric efficiency is what is left once these are applied",
        "everything",
    ),
    "ecu applies, unknown": Default(
        "tables.fuel.ecu_applies",
        "the one reading with a plausible implied VE",
        None,
        "unknown",
        "0.60 to 1.20 wide open, 0.35 to 0.95 from 30 to 60 kPa; more than one or none is refused",
        "everything",
    ),
    "battery of a cranking table": Default(
        "tables.NAME.battery",
        "9.5 V",
        None,
        "left out",
        "the name says crank or start, and a starter pulls the battery down to 8 to 11 V (common practice)",
        "the dead time in its cells",
        Kind.VOLTAGE,
    ),
    "battery of a further table": Default(
        "tables.NAME.battery",
        "as the conditions",
        None,
        "left out",
        "the table of pulses does not say at which voltage it is used",
        "the dead time in its cells",
    ),
    "reference pressure": Default(
        "tables.fuel.reference_pressure",
        "100 kPa",
        None,
        "left out",
        "the pressure at which a cell is the pulse",
        "every pulse, in proportion",
        Kind.ABSOLUTE_PRESSURE,
    ),
}
"""Every default, by a name of our own."""
