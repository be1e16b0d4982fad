"""One job for each kind of stop, in sample_tables/refused. All of it is invented.

Each is one of two base jobs with the few lines changed that make it stop; the base jobs themselves have no stop.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

FOLDER = "refused"

ATMOSPHERIC = """\
[conditions]
charge_temperature = "40 degC"

[donor]
state = "tuned"
cylinder_trims = false

[donor.engine]
displacement = "1598 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "6000 rpm"
rated_power = "66 kW @ 5500 rpm"

[donor.injectors]
static_flow = "200 cc/min ± 2 %"
rated_pressure = "3.0 bar"
shortest_pulse = "1.2 ms"

[donor.injectors.dead_time]
battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]
time = ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"]

[donor.fuel]
blend = "E5"
octane = 95
rail_pressure = "3.0 bar"
regulator = "manifold"

[donor.settings]
same_as_hardware = true

[donor.tables.fuel]
file = "quarry_loader_fuel.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = 0.9

[target]
same_as_donor = ["fuel"]

[target.engine]
displacement = "1781 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "5800 rpm"

[target.injectors]
static_flow = "230 cc/min ± 2 %"
rated_pressure = "3.0 bar"
shortest_pulse = "1.2 ms"
highest_pressure = "5 bar"

[target.injectors.dead_time]
battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]
time = ["2.40 ms", "1.62 ms", "1.12 ms", "0.78 ms", "0.60 ms"]
"""

_ENGINE = 'displacement = "{}"\ncylinders = 4\ninduction = "atmospheric"\n'
_BOOSTED_ENGINE = 'displacement = "{}"\ncylinders = 4\ninduction = "boosted"\npeak_pressure = "180 kPa"\n'
_MAP = 'kind = "pressure"\nvolts = ["0.5 V", "4.5 V"]\nvalue = ["{}", "{}"]\n'
_WIDEBAND = 'kind = "lambda"\nvolts = ["0 V", "5 V"]\nvalue = ["{}", "{}"]\n'
_VOLTS = 'battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]\ntime = ['
_STUCK_SENSORS = '\n[target.settings]\ncannot_be_told = ["sensors"]\n'

BOOSTED = (
    ATMOSPHERIC.replace("quarry_loader_fuel", "quarry_crane_fuel")
    .replace("lambda = 0.9\n", "lambda = 0.82\n")
    .replace(_ENGINE.format("1598 cc"), _BOOSTED_ENGINE.format("1598 cc"))
    .replace(_ENGINE.format("1781 cc"), _BOOSTED_ENGINE.format("1781 cc"))
    .replace("66 kW", "110 kW")
    .replace("200 cc/min", "480 cc/min")
    .replace("230 cc/min", "540 cc/min")
)


def sensors(name: str, held: str, fitted: str) -> str:
    """What the map holds for a sensor, and what the fitted one means."""
    return f"\n[donor.sensors.{name}]\n{held}\n[target.sensors.{name}]\n{fitted}"


def on_target(keys: str) -> str:
    """Keys of the target's table."""
    return f"\n[target.tables.fuel]\n{keys}\n"


@dataclass(frozen=True)
class Refused:
    """One job: what it shows, and what is changed in its base.

    Parameters
    ----------
    rule
        The rule that stops it; the file has its name.
    shows
        What is wrong, one line.
    base
        The job that is changed.
    changes
        What is replaced in it by what.
    append
        What is added to it.
    """

    rule: str
    shows: str
    base: str = ATMOSPHERIC
    changes: tuple[tuple[str, str], ...] = ()
    append: str = ""

    @property
    def file(self) -> str:
        """Name of its file."""
        return f"{self.rule.replace('-', '_')}.toml"

    def text(self) -> str:
        """The whole job file."""
        name = "loader" if self.base is ATMOSPHERIC else "crane"
        body = self.base
        for old, new in self.changes:
            assert body.count(old) == 1, (self.rule, old)
            body = body.replace(old, new)
        head = f"# Invented data: no such machine, engine or map exists.\n#\n# {self.shows}\n"
        return f'{head}\ntitle = "Quarry {name}: {self.rule} (invented data)"\n\n{body}{self.append}'


_FIRST_DRIVE = """
[learnt]
probe_proved = [0.8, 1.0]
crossed = ["charging-voltage-high"]

[[learnt.logs]]
file = "quarry_loader_first_drive.csv"
sha256 = "invented: there is no such log"
# at_s, for_s, rpm, pressure_pa, charge_k, battery_v, pulse_s, log_lambda, variance, log_formula
chunks = [
  [61.0, 1.6, 1500.0, 55000.0, 313.15, 13.8, 0.0071673, -0.1054, 0.0002, 0.0],
]
"""

REFUSED = (
    Refused(
        "held-after-drives",
        "In the first drive the battery came to more than 16 V: repair the alternator before you load anything.",
        append=_FIRST_DRIVE,
    ),
    Refused(
        "no-pulse",
        "The ECU keeps the dead time of the donor's slow injectors: longer than an idle pulse of the new ones.",
        changes=(
            (
                '"2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"',
                '"5.20 ms", "4.30 ms", "3.60 ms", "3.20 ms", "3.00 ms"',
            ),
        ),
        append='\n[target.settings]\ncannot_be_told = ["dead_time"]\n',
    ),
    Refused(
        "dead-time-implausible",
        "A dead time typed a tenth of what the maker gives: the pulses at idle would be far too short.",
        changes=(
            (
                _VOLTS + '"2.40 ms", "1.62 ms", "1.12 ms", "0.78 ms", "0.60 ms"]',
                _VOLTS + '"0.18 ms", "0.12 ms", "0.08 ms", "0.06 ms", "0.05 ms"]',
            ),
        ),
    ),
    Refused(
        "overvoltage",
        "The tables are said to be used at 16.5 V: a charging system that reaches this is faulty.",
        changes=(('charge_temperature = "40 degC"', 'charge_temperature = "40 degC"\nbattery = "16.5 V"'),),
    ),
    Refused(
        "lean-at-load",
        "The target's controller stores the table in steps of 20 %: 88 % becomes 80 %, and full load runs lean.",
        append=on_target("step = 20"),
    ),
    Refused(
        "intended-mixture-at-load",
        "The target is meant to run lean at full load: the table would do that exactly.",
        append=on_target("lambda = 1.05"),
    ),
    Refused(
        "boosted-donor-atmospheric-target",
        "The boosted donor's part load is full load here, and too lean for that.",
        BOOSTED,
        changes=((_BOOSTED_ENGINE.format("1781 cc"), _ENGINE.format("1781 cc")),),
        append=on_target("lambda = 0.98"),
    ),
    Refused(
        "fixed-rail-under-boost",
        "A fixed rail of 2 bar: boost above the table's last row takes away the pressure that drives the fuel.",
        BOOSTED,
        changes=(
            (
                'same_as_donor = ["fuel"]\n',
                'same_as_donor = ["fuel"]\n\n[target.fuel]\nrail_pressure = "2.0 bar"\nregulator = "fixed"\n',
            ),
            ('peak_pressure = "180 kPa"\nrev_limit = "5800 rpm"', 'peak_pressure = "188 kPa"\nrev_limit = "5800 rpm"'),
            ('"540 cc/min ± 2 %"\nrated_pressure = "3.0 bar"', '"800 cc/min ± 2 %"\nrated_pressure = "2.0 bar"'),
        ),
    ),
    Refused(
        "map-scale",
        "The controller keeps the scale of the donor's pressure sensor, but a different sensor is fitted.",
        append=sensors("map", _MAP.format("10 kPa", "110 kPa"), _MAP.format("20 kPa", "250 kPa")) + _STUCK_SENSORS,
    ),
    Refused(
        "wideband-scale",
        "The controller keeps the scale of the donor's wideband, but a different one is fitted.",
        append=sensors("wideband", _WIDEBAND.format("0.5", "1.5"), _WIDEBAND.format("0.68", "1.36")) + _STUCK_SENSORS,
    ),
    Refused(
        "map-range",
        "The pressure sensor ends 5 kPa above the peak: the ECU cannot see the boost overshoot.",
        BOOSTED,
        append=sensors("map", _MAP.format("15 kPa", "185 kPa"), _MAP.format("15 kPa", "185 kPa")),
    ),
    Refused(
        "duty",
        "The target's injectors are too small for its boost: at full load they hardly close.",
        BOOSTED,
        changes=(("540 cc/min", "297 cc/min"),),
    ),
    Refused(
        "donor-saturated",
        "The donor's own injectors were always open at full load: its air there is not known.",
        changes=(("200 cc/min", "128 cc/min"),),
    ),
    Refused(
        "load-beyond-donor",
        "The target runs up to 200 kPa, but the donor's map ends at 180.",
        BOOSTED,
        changes=(
            ('peak_pressure = "180 kPa"\nrev_limit = "5800 rpm"', 'peak_pressure = "200 kPa"\nrev_limit = "5800 rpm"'),
        ),
    ),
    Refused(
        "speed-beyond-donor",
        "The target turns 7000 rpm, but the donor's map ends at 6000.",
        changes=(('rev_limit = "5800 rpm"', 'rev_limit = "7000 rpm"'),),
    ),
    Refused(
        "stored-table",
        "The target's controller stores no more than 85 %: the cells of full load do not fit.",
        append=on_target("maximum = 85"),
    ),
    Refused(
        "uncertainty-at-load",
        "The flow of the target's injectors is known only to ±50 %: the result is a guess.",
        changes=(("230 cc/min ± 2 %", "230 cc/min ± 50 %"),),
    ),
    Refused(
        "implied-power",
        "The donor is said to make 105 kW: its map has fuel for two thirds of that.",
        changes=(("66 kW", "105 kW"),),
    ),
    Refused(
        "implied-power-of-the-target",
        "The target makes 105 kW: the adapted table has fuel for 73 of them, and at full load it would run lean.",
        changes=(
            ('rated_power = "66 kW @ 5500 rpm"\n', ""),
            ('rev_limit = "5800 rpm"', 'rev_limit = "5800 rpm"\nrated_power = "105 kW @ 5500 rpm"'),
        ),
    ),
    Refused(
        "throttle-layout",
        "A map over throttle opening from one throttle before all cylinders, onto four with one each.",
        changes=(
            ("quarry_loader_fuel.csv", "quarry_loader_throttle.csv"),
            (
                'load = "manifold pressure"\nload_unit = "kPa"',
                'ecu_applies = ["lambda", "dead time"]\nload = "throttle"\nload_unit = "%"',
            ),
            ('"66 kW @ 5500 rpm"', '"66 kW @ 5500 rpm"\nthrottle_bore = "50 mm"'),
            (
                'rev_limit = "5800 rpm"',
                'rev_limit = "5800 rpm"\nthrottles = { count = 4, bore = "34 mm", feeds = 1 }',
            ),
        ),
    ),
    Refused(
        "slip-at-load",
        "One full-load cell was mistyped, 57.1 for 87.1: in that one cell the engine would run a third lean.",
        changes=(("quarry_loader_fuel.csv", "quarry_loader_slip_fuel.csv"),),
    ),
    Refused(
        "cylinder-size",
        "A cylinder of the target is more than twice as large: the two may breathe differently.",
        changes=(("1781 cc", "3396 cc"), ("230 cc/min", "440 cc/min")),
    ),
    Refused(
        "cylinder-trims",
        "The donor's map holds trims per cylinder, which belong to the donor's cylinders.",
        changes=(("cylinder_trims = false", "cylinder_trims = true"),),
    ),
    Refused(
        "will-not-run",
        "Somebody wants the target to save fuel at idle: at this mixture it misfires.",
        append=on_target('lambda = "quarry_loader_lean_idle_lambda.csv"'),
    ),
    Refused(
        "battery-outside-dead-time-data",
        "The maker gives dead times from 14 V up, but the table is used at 12.4 V.",
        changes=(
            (
                _VOLTS + '"2.40 ms", "1.62 ms", "1.12 ms", "0.78 ms", "0.60 ms"]',
                'battery = ["14 V", "16 V"]\ntime = ["0.78 ms", "0.60 ms"]',
            ),
        ),
        append=on_target('battery = "12.4 V"'),
    ),
    Refused(
        "short-pulse",
        "Injectors six times too large: at idle they would have to open for a shorter time than they can.",
        changes=(
            ("230 cc/min", "1400 cc/min"),
            ('shortest_pulse = "1.2 ms"\nhighest', 'shortest_pulse = "1.9 ms"\nhighest'),
        ),
    ),
    Refused(
        "rail-pressure",
        "The rail pressure is 4 bar, but the maker of the injectors allows 3.5.",
        changes=(
            ('highest_pressure = "5 bar"', 'highest_pressure = "3.5 bar"'),
            ('same_as_donor = ["fuel"]\n', 'same_as_donor = ["fuel"]\n\n[target.fuel]\nrail_pressure = "4.0 bar"\n'),
        ),
    ),
    Refused(
        "fuel-pump",
        "Full load takes more fuel than the pump delivers: the rail pressure falls, and the engine goes lean.",
        changes=(
            ('same_as_donor = ["fuel"]\n', 'same_as_donor = ["fuel"]\n\n[target.fuel]\npump = "25 l/h @ 3 bar"\n'),
        ),
    ),
    Refused(
        "rich-at-load",
        "The target is meant to run far too rich at full load.",
        append=on_target('lambda = "quarry_loader_rich_lambda.csv"'),
    ),
)


def files() -> Iterator[tuple[str, str]]:
    """Every job file by name, with its text."""
    for one in REFUSED:
        yield one.file, one.text()
