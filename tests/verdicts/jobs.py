"""Whole jobs as a calibrator meets them, written by a script. Everything in them is invented.

The grids come from the surfaces of the samples, which do not use the package.
"""

from __future__ import annotations

import math
from pathlib import Path

from tests.reference.throttle_simulator import Simulated
from tests.samples.invented import Breathing, Injection
from tests.samples.make_samples import Cell, Grid

INHG_KPA = 3.386388640341

BOOSTED = Breathing(base=0.70, gain=0.22, peak_rpm=4200, width_rpm=2600, residual=0.34, fade_kpa=30.0)
SINGLE = Breathing(base=0.66, gain=0.22, peak_rpm=6000, width_rpm=3500)
MOUNTAIN = Breathing(base=0.68, gain=0.23, peak_rpm=4300, width_rpm=2700)

SPEEDS = (800, 1200, 1600, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500)
SINGLE_SPEEDS = (1200, 1800, 2400, 3000, 4000, 5000, 6000, 7000, 8000, 9000)
DEAD_TIME = """
battery = ["8 V", "10 V", "12 V", "14 V", "16 V"]
time = ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"]
"""

SINGLE_INJECTION = Injection(
    cylinder_cc=449,
    static_flow_cc_min=320,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=0.90,
    charge_c=40,
    dead_time_ms=0.0,
)


PLENUM_INJECTION = Injection(
    cylinder_cc=499.5,
    static_flow_cc_min=280,
    fuel_density=725,
    stoichiometric=14.5,
    lambda_=1.0,
    charge_c=40,
    dead_time_ms=0.0,
)


def write(folder: Path, name: str, text: str, **grids: Grid) -> Path:
    """A job with its grids beside it."""
    for stem, grid in grids.items():
        (folder / f"{stem}.csv").write_text(grid.text(), encoding="utf-8")
    job = folder / f"{name}.toml"
    job.write_text(text, encoding="utf-8")
    return job


def percent(breathing: Breathing, kpa_of_load: float = 1.0) -> Cell:
    """VE in per cent over a load in a unit of so many kPa."""
    return lambda rpm, load: 100.0 * breathing.ve(rpm, load * kpa_of_load)


def boosted_for_atmospheric(folder: Path, intended: str = '"unknown"', target_table: str = "") -> Path:
    """A boosted 2.0 with 880 cc/min injectors for an atmospheric 1.8 with 440: half of the donor's data is unknown."""
    return write(
        folder,
        "boosted",
        f"""
title = "A boosted map for an atmospheric 1.8 (invented data)"

[donor]
state = "tuned"

[donor.engine]
displacement = "1998 cc"
cylinders = 4
induction = "boosted"
peak_pressure = "200 kPa"

[donor.injectors]
static_flow = "880 cc/min"
rated_pressure = "unknown"
rated_fluid = "unknown"
dead_time = "unknown"

[donor.fuel]
blend = "unknown"
rail_pressure = "3.0 bar"
regulator = "manifold"

[donor.settings]
same_as_hardware = true

[donor.tables.fuel]
file = "fuel.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = {intended}

[target.engine]
displacement = "1796 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "6500 rpm"

[target.injectors]
static_flow = "440 cc/min ± 2 %"
rated_pressure = "3.0 bar"
shortest_pulse = "1.2 ms"

[target.injectors.dead_time]
{DEAD_TIME}

[target.fuel]
blend = "E5"
rail_pressure = "3.0 bar"
regulator = "manifold"
{target_table}
""",
        fuel=Grid(
            "Invented",
            "kPa",
            SPEEDS,
            (20, 30, 40, 50, 60, 70, 80, 90, 100, 120, 140, 160, 180, 200),
            percent(BOOSTED),
            1,
        ),
        lean=Grid("Invented", "kPa", SPEEDS, (20, 105, 120, 200), lambda _, kpa: 1.0 if kpa <= 105 else 0.82, 3),
    )


def single_pulse_ms(rpm: float, kpa: float) -> float:
    """Pulse without its dead time on a fixed rail of 3 bar: the pressure across the injector falls with the load."""
    across = (300.0 + 101.325 - kpa) / 300.0
    return SINGLE_INJECTION.pulse_ms(SINGLE.ve(rpm, kpa), kpa) / math.sqrt(across)


def single_onto_ethanol(folder: Path) -> Path:
    """A single-cylinder on a fixed rail from pump petrol to E85, with a box that knows no stoichiometric ratio."""
    return write(
        folder,
        "single",
        f"""
title = "A single from petrol to E85 (invented data)"

[donor]
state = "tuned"

[donor.engine]
displacement = "449 cc"
cylinders = 1
induction = "atmospheric"
compression_ratio = 12.0
rev_limit = "9000 rpm"

[donor.injectors]
static_flow = "320 cc/min ± 2 %"
rated_pressure = "3.0 bar"
shortest_pulse = "1.1 ms"

[donor.injectors.dead_time]
{DEAD_TIME}

[donor.fuel]
blend = "E5"
octane = 98
rail_pressure = "3.0 bar"
regulator = "fixed"

[donor.tables.fuel]
file = "fuel.csv"
quantity = "pulse width"
ecu_applies = ["dead time"]
load = "manifold pressure"
load_unit = "kPa"
lambda = 0.9

[target]
same_as_donor = ["engine"]

[target.engine]
idle = "1600 rpm @ 40 kPa"

[target.injectors]
static_flow = "520 cc/min ± 2 %"
rated_pressure = "3.0 bar"
shortest_pulse = "1.1 ms"

[target.injectors.dead_time]
{DEAD_TIME}

[target.fuel]
parts = {{ petrol = 20, ethanol = "80 ± 2" }}
octane = 104
rail_pressure = "3.0 bar"
regulator = "fixed"
""",
        fuel=Grid("Invented", "kPa", SINGLE_SPEEDS, (20, 30, 40, 50, 60, 70, 80, 90, 100), single_pulse_ms, 3),
    )


def mountain_for_boosted(folder: Path, cut: str = "") -> Path:
    """An atmospheric map that was tuned at 1600 m, for a boosted engine by the sea, in psi, inHg, lb/h and degF."""
    return write(
        folder,
        "mountain",
        f"""
title = "A map from the mountains for a boosted engine (invented data)"

[donor]
state = "tuned"

[donor.conditions]
altitude = "1600 m"
charge_temperature = "95 degF"
battery = "13.8 V"

[donor.engine]
displacement = "122 cuin"
cylinders = 4
induction = "atmospheric"
compression_ratio = 9.5
rev_limit = "6500 rpm"
rated_power = "116 hp @ 6000 rpm"

[donor.injectors]
static_flow = "24 lb/h ± 2 %"
rated_pressure = "43.5 psi"

[donor.injectors.dead_time]
{DEAD_TIME}

[donor.fuel]
blend = "E10"
octane = 95
rail_pressure = "43.5 psi"
regulator = "manifold"
temperature = "104 degF"

[donor.tables.fuel]
file = "fuel.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "inHg absolute"
lambda = 0.88

[target.conditions]
barometer = "29.92 inHg absolute"
charge_temperature = "104 degF"

[target.engine]
displacement = "122 cuin"
cylinders = 4
induction = "boosted"
compression_ratio = 8.8
rev_limit = "6500 rpm"
peak_pressure = "10 psi gauge"
{cut}

[target.injectors]
static_flow = "50 lb/h ± 2 %"
rated_pressure = "43.5 psi"
shortest_pulse = "1.2 ms"

[target.injectors.dead_time]
{DEAD_TIME}

[target.fuel]
blend = "E10"
octane = 98
rail_pressure = "43.5 psi"
regulator = "manifold"
temperature = "104 degF"
""",
        fuel=Grid(
            "Invented",
            "inHg",
            SPEEDS,
            (6, 8, 10, 12, 14, 16, 18, 20, 22, 24, 26, 28, 30, 36, 42, 48, 52),
            percent(MOUNTAIN, INHG_KPA),
            1,
        ),
    )


INDIVIDUAL = 'throttles = { count = 4, bore = "40 mm", feeds = 1 }'


def plenum_for_individual(folder: Path, throttles: str = INDIVIDUAL) -> Path:
    """A map over throttle opening from a 2.0 behind one throttle, for a 1.8 with one for each cylinder; cranks too."""
    plenum = Simulated(1.998, 4, 1, 58.0, temperature_k=313.15, barometer_pa=101_325.0)

    def pulse(rpm: float, opening: float) -> float:
        manifold = plenum.manifold_pa(opening / 100.0, rpm)
        return PLENUM_INJECTION.pulse_of_air_ms(plenum.pumped_kg_s(rpm, manifold) * 120.0 / rpm / 4.0)

    (folder / "crank.csv").write_text("degC,ms\n-10,40\n20,20\n60,12\n", encoding="utf-8")
    return write(
        folder,
        "individual",
        f"""
title = "A map over throttle opening for individual throttles (invented data)"

[donor]
state = "tuned"
cylinder_trims = false
[donor.engine]
displacement = "1998 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "6500 rpm"
throttle_bore = "58 mm"
[donor.injectors]
static_flow = "280 cc/min"
rated_pressure = "3 bar"
[donor.injectors.dead_time]{DEAD_TIME}
[donor.fuel]
blend = "E5"
rail_pressure = "3 bar"
regulator = "manifold"
[donor.tables.fuel]
file = "throttle.csv"
unit = "ms"
quantity = "pulse width"
ecu_applies = ["lambda", "dead time"]
load = "throttle"
lambda = 0.9
[donor.tables.crank]
file = "crank.csv"
quantity = "pulse width"
ecu_applies = ["dead time"]
axis = "coolant temperature"
axis_unit = "degC"
battery = "9.5 V"

[target]
same_as_donor = ["fuel", "injectors"]
[target.engine]
displacement = "1798 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "6500 rpm"
{throttles}
""",
        throttle=Grid("Invented data", "%", SPEEDS, (2, 5, 10, 20, 35, 60, 100), pulse, 3),
    )
