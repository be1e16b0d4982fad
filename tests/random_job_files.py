"""Random job files with their tables, the same ones for the same seed. Everything in them is invented.

They reach what a job file can say: both quantities, every load axis, both regulators, stated and unknown inputs, other
settings than the hardware, further tables, sensors. Most can be worked out, some are refused. Made for
``tests/compare_results.py``, and removed with it at the end of the redesign.
"""

from __future__ import annotations

import json
import math
import random
from dataclasses import dataclass, field
from pathlib import Path

Keys = dict[str, object]
VOLTS = (8.0, 10.0, 12.0, 14.0, 16.0)
BLENDS = ("petrol", "E5", "E10", "E85", "E100", "M100", "ethanol", "methanol")
STUCK = ("displacement", "static_flow", "stoichiometric", "openings_per_cycle", "dead_time")


@dataclass
class Draft:
    """A job that is being made up: its sections by name, and the tables beside it."""

    rng: random.Random
    load: str
    pulse: bool
    boosted: bool
    two_stroke: bool
    sections: dict[str, Keys] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)

    def section(self, name: str) -> Keys:
        """The keys of a section, made when it is first asked for."""
        return self.sections.setdefault(name, {})

    def sometimes(self, share: float) -> bool:
        """True in so many of the cases."""
        return self.rng.random() < share


def write_random_jobs(folder: Path, count: int, seed: int) -> list[Path]:
    """Write that many jobs into a folder, each with its tables beside it."""
    return [write(folder, f"random_{number:03}", random.Random(f"{seed} {number}")) for number in range(count)]


def write(folder: Path, name: str, rng: random.Random) -> Path:
    """Write one job with its tables."""
    load = rng.choices(["pressure", "gauge", "ratio", "throttle", "air mass"], [8, 2, 3, 4, 4])[0]
    boosted = load not in {"throttle", "air mass"} and rng.random() < 0.25
    draft = Draft(rng, load, rng.random() < 0.5, boosted, load != "throttle" and rng.random() < 0.08)
    fill(draft, name)
    for file, content in draft.files.items():
        (folder / file).write_text(content, encoding="utf-8")
    path = folder / f"{name}.toml"
    path.write_text(as_toml(draft.sections), encoding="utf-8")
    return path


def fill(draft: Draft, name: str) -> None:
    """Make up all of a job."""
    draft.section("")["title"] = f"{name} (invented data)"
    cylinders = draft.rng.choice([1, 2, 3, 4, 4, 4, 6, 8])
    conditions(draft)
    for side in ("donor", "target"):
        engine(draft, side, cylinders if draft.sometimes(0.7) else draft.rng.choice([2, 4, 6]))
        injectors(draft, side)
        fuel(draft, side)
    donor = draft.section("donor")
    donor["state"] = draft.rng.choice(["tuned", "generic", "unknown"])
    if draft.sometimes(0.5):
        donor["cylinder_trims"] = draft.rng.choice([False, False, True])
    settings(draft)
    fuel_table(draft, name)
    target_table(draft)
    further_tables(draft, name)
    sensors(draft)
    if draft.load in {"pressure", "gauge"} and not draft.two_stroke and draft.sometimes(0.35):
        draft.section("options")["breathing"] = draft.rng.choice(["inlet mach", "residual gas"])
    same_parts(draft)


def conditions(draft: Draft) -> None:
    """The air and the battery, of both sides or of one."""
    rng = draft.rng
    for name, share in (("conditions", 0.6), ("donor.conditions", 0.3), ("target.conditions", 0.3)):
        if not draft.sometimes(share):
            continue
        keys = draft.section(name)
        if draft.sometimes(0.5):
            keys["barometer"] = f"{rng.uniform(78, 103):.2f} kPa{rng.choice(['', ' ± 0.5 kPa'])}"
        else:
            keys["altitude"] = f"{rng.randint(0, 1800)} m"
        if draft.sometimes(0.6):
            keys["charge_temperature"] = rng.choice(
                [f"{rng.randint(5, 70)} degC", f"{rng.randint(60, 150)} degF ± 9 degF"]
            )
        if draft.sometimes(0.5):
            keys["battery"] = rng.choice(
                [f"{rng.uniform(12.5, 14.6):.1f} V ± 0.2 V", f"{rng.randint(13000, 14400)} mV"]
            )


def engine(draft: Draft, side: str, cylinders: int) -> None:
    """An engine of either side."""
    rng, keys = draft.rng, draft.section(f"{side}.engine")
    litres = cylinders * rng.uniform(0.3, 0.62)
    keys["displacement"] = rng.choice(
        [f"{litres * 1000:.0f} cc", f"{litres:.3f} l", f"{litres * 61.0237:.1f} cuin ± 1 %"]
    )
    keys["cylinders"] = cylinders
    keys["cycle"] = "two-stroke" if draft.two_stroke else "four-stroke"
    keys["induction"] = "boosted" if draft.boosted else "atmospheric"
    if draft.boosted:
        keys["peak_pressure"] = rng.choice([f"{rng.randint(150, 230)} kPa", f"{rng.randint(7, 18)} psi gauge"])
    keys["compression_ratio"] = f"{rng.uniform(8.0, 12.5):.1f}{rng.choice(['', ' ± 0.2'])}"
    if draft.sometimes(0.8):
        keys["inlet_valve_area"] = f"{rng.uniform(6, 14):.2f} cm2"
    if draft.sometimes(0.7):
        keys["rev_limit"] = f"{rng.randrange(4500, 8600, 100)} rpm"
    if draft.sometimes(0.4):
        keys["rated_power"] = f"{litres * rng.uniform(35, 60):.0f} {rng.choice(['kW', 'hp', 'PS'])} @ 5800 rpm"
    if draft.load == "throttle" and draft.sometimes(0.9):
        throttles(draft, keys, cylinders, litres)
    if side == "target":
        if draft.sometimes(0.3):
            keys["idle"] = f"{rng.randrange(700, 1300, 50)} rpm @ {rng.randint(28, 50)} kPa"
        if draft.sometimes(0.3):
            keys["coldest_start"] = f"{rng.randint(-25, 20)} degC"
        if draft.sometimes(0.15):
            keys["rev_cut"] = f"{rng.randrange(4500, 8000, 100)} rpm"
        if draft.sometimes(0.15):
            keys["load_cut"] = f"{rng.randrange(80, 200, 5)} kPa"


def throttles(draft: Draft, keys: Keys, cylinders: int, litres: float) -> None:
    """One throttle for all cylinders, or one for each."""
    bore = draft.rng.uniform(0.9, 1.2) * 40.0 * math.sqrt(litres)
    if draft.sometimes(0.8):
        keys["throttle_bore"] = f"{bore:.1f} mm"
    else:
        keys["throttles"] = {"count": cylinders, "bore": f"{bore / math.sqrt(cylinders):.1f} mm", "feeds": 1}


def injectors(draft: Draft, side: str) -> None:
    """Injectors of either side, with all that a maker may state."""
    rng, keys = draft.rng, draft.section(f"{side}.injectors")
    unknown = side == "donor" and draft.sometimes(0.2)
    cc_min = rng.uniform(180, 700)
    keys["static_flow"] = rng.choice(
        [f"{cc_min:.0f} cc/min", f"{cc_min:.0f} cc/min ± 3 %", f"{cc_min / 10.5:.1f} lb/h",
         f"{cc_min * 0.72 / 60:.3f} g/s", f"{cc_min / 10.5:.1f} lb/h = {cc_min:.0f} cc/min ± 2 % k=2"]
    )  # fmt: skip
    keys["rated_pressure"] = (
        "unknown" if unknown and draft.sometimes(0.5) else rng.choice(["3.0 bar", "43.5 psi", "270 kPa"])
    )
    if draft.sometimes(0.6) and "=" not in str(keys["static_flow"]):
        keys["rated_fluid"] = "unknown" if unknown else rng.choice(["n-heptane", "0.72 g/cc", "745 kg/m3"])
    if draft.sometimes(0.15):
        keys["openings_per_cycle"] = rng.choice([1, 2])
    if draft.sometimes(0.1):
        keys["per_cylinder"] = 2
    if draft.sometimes(0.5):
        keys["shortest_pulse"] = f"{rng.uniform(0.9, 1.6):.2f} ms"
    if draft.sometimes(0.2):
        keys["highest_pressure"] = "5 bar"
    if "=" not in str(keys["static_flow"]):
        short_pulses(draft, side, cc_min)
    if (unknown and draft.sometimes(0.5)) or (side == "target" and draft.sometimes(0.08)):
        keys["dead_time"] = "unknown"
    else:
        draft.sections[f"{side}.injectors.dead_time"] = dead_time(draft, over_pressure=draft.sometimes(0.3))


def short_pulses(draft: Draft, side: str, cc_min: float) -> None:
    """What a maker states of the bend at short pulses: a slope, two of them, or a time to add."""
    rng = draft.rng
    draw = rng.random()
    if draw < 0.15:
        draft.section(f"{side}.injectors")["slope"] = f"{cc_min * rng.uniform(0.95, 1.03):.1f} cc/min"
    elif draw < 0.3:
        low, high = cc_min * rng.uniform(1.02, 1.15), cc_min * rng.uniform(0.97, 1.0)
        draft.sections[f"{side}.injectors.bent_line"] = {
            "below": f"{low:.1f} cc/min", "above": f"{high:.1f} cc/min",
            "at_mass": f"{rng.uniform(2, 9):.2f} mg",
        }  # fmt: skip
    elif draw < 0.42:
        draft.sections[f"{side}.injectors.added_time"] = {
            "open": ["0.4 ms", "1.0 ms", "2.0 ms"],
            "time": [f"{rng.uniform(0.06, 0.16):.3f} ms", f"{rng.uniform(0.01, 0.05):.3f} ms", "0 ms"],
        }


def dead_time(draft: Draft, *, over_pressure: bool, spreads: bool = True) -> Keys:
    """Dead times that fall with the voltage and rise with the pressure."""
    rng = draft.rng
    volts = sorted(rng.sample(VOLTS, rng.randint(3, 5)))
    scale = rng.uniform(0.8, 1.25)
    row = [scale * 0.85 * (14.0 / volt) ** 1.9 for volt in volts]
    keys: Keys = {"battery": [f"{volt:g} V" for volt in volts]}
    unit, per_ms = rng.choice([("ms", 1.0), ("us", 1000.0)])
    spread = rng.choice(["", "", " ± 5 %"]) if spreads else ""
    if over_pressure:
        keys["time"] = [[f"{time * more * per_ms:.4g} {unit}" for time in row] for more in (0.92, 1.0, 1.09)]
        keys["pressure"] = ["2.5 bar", "3.5 bar", "500 kPa"]
    else:
        keys["time"] = [f"{time * per_ms:.4g} {unit}{spread}" for time in row]
    return keys


def fuel(draft: Draft, side: str) -> None:
    """The fuel of either side, stated in one of the ways there are."""
    rng, keys = draft.rng, draft.section(f"{side}.fuel")
    way = rng.random()
    if way < 0.6:
        keys["blend"] = rng.choice(BLENDS)
    elif way < 0.75:
        ethanol = rng.randint(0, 90)
        keys["parts"] = {"petrol": 100 - ethanol, "ethanol": rng.choice([ethanol, f"{ethanol} ± 2"])}
    elif way < 0.93:
        keys["density"] = f"{rng.uniform(715, 780):.0f} kg/m3"
        keys["stoichiometric"] = round(rng.uniform(9.0, 14.8), 2)
        if draft.sometimes(0.6):
            keys |= {"stoichiometric": round(rng.uniform(13.8, 14.8), 2), "density_at": "15 degC"}
    else:
        keys["blend"] = "unknown"
    if draft.sometimes(0.4):
        keys["octane"] = rng.choice([91, 95, 98, 104])
    keys["rail_pressure"] = rng.choice(["3.0 bar", "3.5 bar", "43.5 psi", "400 kPa ± 5 kPa"])
    keys["regulator"] = rng.choice(["manifold", "fixed"])
    if draft.sometimes(0.4):
        keys["temperature"] = rng.choice(["20 degC", "40 degC", "104 degF", "unknown"])


def settings(draft: Draft) -> None:
    """What either controller was told, and what the target's cannot be told."""
    rng = draft.rng
    if draft.sometimes(0.35):
        told(draft, "donor")
    if draft.sometimes(0.25):
        told(draft, "target")
    if draft.sometimes(0.35):
        stuck = [key for key in STUCK if not told_of_target(draft, key)]
        draft.section("target.settings")["cannot_be_told"] = rng.sample(stuck, min(len(stuck), rng.randint(1, 3)))
    if not draft.pulse and draft.sometimes(0.25):
        fields: Keys = {
            "static_flow": {"maximum": rng.randrange(255, 700, 50), "step": 5},
            "stoichiometric": {"decimals": 1},
        }
        stuck_now = str(draft.section("target.settings").get("cannot_be_told"))
        draft.sections["target.settings.fields"] = {key: one for key, one in fields.items() if key not in stuck_now}


def told_of_target(draft: Draft, key: str) -> bool:
    """Whether the job says what the target's controller holds there."""
    return key in draft.sections.get("target.settings", {}) or f"target.settings.{key}" in draft.sections


def told(draft: Draft, side: str) -> None:
    """Some settings of either controller that differ from the hardware."""
    rng, keys = draft.rng, draft.section(f"{side}.settings")
    parts = draft.sections.get(f"{side}.injectors", {})
    choices: Keys = {
        "displacement": f"{rng.randint(900, 2600)} cc",
        "static_flow": f"{rng.randint(200, 600)} cc/min",
        "stoichiometric": rng.choice([14.7, 14.5, 14.1, 9.8]),
        "openings_per_cycle": rng.choice([1, 2]),
        "corrects_rail_pressure": rng.choice([True, False]),
        "corrects_charge_temperature": rng.choice([True, False, "unknown" if side == "donor" else True]),
        "formula_factor": round(rng.uniform(0.95, 1.05), 3),
        "minimum_pulse": f"{rng.uniform(0.5, 1.2):.2f} ms",
    }
    for key in rng.sample(sorted(choices), rng.randint(1, 4)):
        keys[key] = choices[key]
    for key in () if draft.pulse else ("bent_line", "added_time"):
        if f"{side}.injectors.{key}" in draft.sections and draft.sometimes(0.7):
            keys[key] = rng.choice([True, False])
    if (
        side == "donor"
        and not draft.pulse
        and str(parts.get("static_flow")).endswith("cc/min")
        and draft.sometimes(0.3)
    ):
        keys["fuel_density"] = f"{rng.randint(720, 790)} kg/m3"
    if draft.sometimes(0.2):
        draft.sections[f"{side}.settings.dead_time"] = dead_time(draft, over_pressure=False, spreads=False)
    elif side == "donor" and draft.sometimes(0.1):
        draft.sections["donor.settings.dead_time"] = {
            "battery": ["9 V", "12 V", "14 V"], "percent": ["150 %", "115 %", "100 %"],
        }  # fmt: skip
    elif side == "target" and draft.sometimes(0.2):
        draft.sections["target.settings.dead_time"] = {"battery": ["9 V", "11 V", "13.5 V"]}


def points(draft: Draft) -> tuple[list[float], list[float], list[float]]:
    """Speeds, loads as they are written, and the pressures or air that they stand for, kPa or mg."""
    rng = draft.rng
    rpm = sorted(rng.sample(range(600, 8000, 100), rng.randint(4, 12)))
    count = rng.randint(4, 12)
    top = rng.choice([170.0, 210.0, 250.0]) if draft.boosted else 100.0
    if draft.load == "throttle":
        load = [0.0, *sorted(rng.sample(range(3, 95), count - 2)), 100.0]
        return [float(one) for one in rpm], load, load
    low = 24.0
    even = [low + (top - low) * index / (count - 1) for index in range(count)]
    if draft.load == "pressure":
        return [float(one) for one in rpm], [round(one, 1) for one in even], even
    if draft.load == "gauge":
        return [float(one) for one in rpm], [round((one - 101.325) / 6.894757, 2) for one in even], even
    if draft.load == "ratio":
        return [float(one) for one in rpm], [round(one / 101.325, 3) for one in even], even
    return [float(one) for one in rpm], [round(6.0 * one, 0) for one in even], even


def efficiency(rng: random.Random, rpm: float, kpa: float, peak: float) -> float:
    """An invented volumetric efficiency, with a little scatter."""
    open_ = 0.68 + 0.22 * math.exp(-(((rpm - peak) / 2800.0) ** 2))
    return open_ * (1.0 - 0.34 * math.exp(-(kpa - 20.0) / 28.0)) * rng.uniform(0.985, 1.015)


def fuel_table(draft: Draft, name: str) -> None:
    """The donor's table and the mixture that it is meant to give."""
    rng, keys = draft.rng, draft.section("donor.tables.fuel")
    rpm, load, stands_for = points(draft)
    peak = rng.uniform(3000, 5200)
    wide = 77.0 if "donor.conditions" in draft.sections or "conditions" in draft.sections else 100.0
    inside = rng.uniform(0.6, 1.0)
    dead_ms = rng.choice([0.0, 0.9])
    pulse_per_kpa = rng.uniform(0.035, 0.075)

    def cell(speed: float, kpa: float) -> float:
        if draft.load == "throttle":
            kpa = wide - 55.0 * math.exp(-kpa / (0.006 * speed + 4.0))
        eta = efficiency(rng, speed, kpa, peak)
        return eta * kpa * pulse_per_kpa * inside + dead_ms if draft.pulse else 100.0 * eta

    decimals = rng.choice([1, 2, 3]) if draft.pulse else rng.choice([0, 1, 2])
    rows = [[cell(speed, kpa) for speed in rpm] for kpa in stands_for]
    draft.files[f"{name}_fuel.csv"] = grid(rpm, load, rows, max(decimals, 2) if draft.pulse else decimals)
    keys["file"] = f"{name}_fuel.csv"
    keys["unit"] = "ms" if draft.pulse else "%"
    keys["quantity"] = "pulse width" if draft.pulse else "volumetric efficiency"
    keys |= load_keys(draft)
    if draft.pulse or draft.load == "air mass" or draft.sometimes(0.3):
        keys["ecu_applies"] = applies(draft, pulse=draft.pulse)
        if draft.pulse and draft.load in {"pressure", "gauge", "ratio"} and draft.sometimes(0.1):
            keys["ecu_applies"] = "unknown"
    if draft.load == "throttle" and "pressure" in str(keys.get("ecu_applies", "pressure")) and draft.sometimes(0.9):
        kpa = [[wide - 55.0 * math.exp(-one / (0.006 * speed + 4.0)) for speed in rpm] for one in load]
        draft.files[f"{name}_map.csv"] = grid(rpm, load, kpa, 2)
        keys["row_pressure"] = f"{name}_map.csv"
    keys["lambda"] = rng.choice([1.0, 0.9, 0.87, "unknown", "file", "file", "afr"])
    if keys["lambda"] == "file":
        mixture = [[0.86 if kpa > 85 or speed > 6000 else 1.0 for speed in rpm] for kpa in stands_for]
        draft.files[f"{name}_lambda.csv"] = grid(rpm, load, mixture, 2)
        keys["lambda"] = f"{name}_lambda.csv"
    elif keys["lambda"] == "afr":
        ratio = [[12.6 if kpa > 85 else 14.7 for _ in rpm] for kpa in stands_for]
        draft.files[f"{name}_afr.csv"] = grid(rpm, load, ratio, 1)
        keys["lambda"] = {"file": f"{name}_afr.csv", "quantity": "air/fuel ratio", "basis": 14.7}
    if "dead time" not in str(keys.get("ecu_applies", "dead time")) or draft.sometimes(0.2):
        keys["battery"] = f"{rng.uniform(12.5, 14.5):.1f} V"


def load_keys(draft: Draft) -> Keys:
    """What the load axis counts, and its unit."""
    return {
        "pressure": {"load": "manifold pressure", "load_unit": "kPa"},
        "gauge": {"load": "manifold pressure", "load_unit": "psi gauge"},
        "ratio": {"load": "pressure ratio"},
        "throttle": {"load": "throttle"},
        "air mass": {"load": "air mass", "load_unit": "mg"},
    }[draft.load]  # type: ignore[return-value]


def applies(draft: Draft, *, pulse: bool) -> list[str]:
    """What the controller still applies to a cell."""
    parts = ["lambda", "dead time"]
    if draft.load in {"pressure", "gauge", "ratio"} or (draft.load == "throttle" and not pulse):
        parts.append("pressure")
    elif draft.load == "throttle":
        parts.append("barometer")
    if draft.sometimes(0.3):
        return parts
    return [part for part in parts if draft.sometimes(0.6)]


def target_table(draft: Draft) -> None:
    """How the target's table differs."""
    rng = draft.rng
    keys: Keys = {}
    if draft.sometimes(0.2):
        keys["lambda"] = round(rng.uniform(0.84, 1.0), 2)
    if draft.sometimes(0.15):
        keys["battery"] = f"{rng.uniform(12.8, 14.4):.1f} V"
    storage(draft, keys, 255 if draft.pulse or draft.sometimes(0.5) else 110)
    if draft.sometimes(0.3):
        keys["rpm_points"] = sorted(rng.sample(range(500, 8200, 50), rng.randint(4, 9)))
    if draft.sometimes(0.3):
        low, high, step = {"pressure": (20, 105, 5), "gauge": (-10, 0, 1), "air mass": (120, 500, 20)}.get(
            draft.load, (20, 100, 5)
        )
        loads = sorted(rng.sample(range(low, high, step), rng.randint(4, 7)))
        if draft.load == "throttle":
            loads[-1] = 100
        keys.setdefault("lambda", 0.9)
        keys["load_points"] = [round(one / 100, 2) for one in loads] if draft.load == "ratio" else loads
    if draft.sometimes(0.12):
        keys["quantity"] = rng.choice(["pulse width", "volumetric efficiency"])
        keys["ecu_applies"] = applies(draft, pulse=keys["quantity"] == "pulse width")
        draft.section("target.settings").pop("cannot_be_told", None)
    if keys:
        draft.sections["target.tables.fuel"] = keys


def storage(draft: Draft, keys: Keys, maximum: float) -> None:
    """What a cell can hold."""
    if draft.sometimes(0.2):
        keys["decimals"] = draft.rng.choice([0, 1, 2, 3])
    elif draft.sometimes(0.2):
        keys["step"] = draft.rng.choice([0.5, 0.008, 0.1])
    if draft.sometimes(0.15):
        keys |= {"minimum": 0, "maximum": maximum}


def further_tables(draft: Draft, name: str) -> None:
    """Tables beside the main one."""
    rng = draft.rng
    multiplies = "percent" in draft.sections.get("donor.settings.dead_time", {})
    if not multiplies and draft.sometimes(0.4):
        coolant = sorted(rng.sample(range(-30, 100, 5), rng.randint(3, 8)))
        cells = [f"{one},{rng.uniform(4, 6) * 4 ** ((80 - one) / 90):.2f}" for one in coolant]
        draft.files[f"{name}_crank.csv"] = "\n".join(["degC,ms", *cells]) + "\n"
        keys: Keys = {"file": f"{name}_crank.csv", "quantity": "pulse width", "axis": "coolant temperature",
                      "axis_unit": "degC", "ecu_applies": rng.choice([[], ["dead time"]])}  # fmt: skip
        if draft.sometimes(0.6):
            keys["battery"] = f"{rng.uniform(8, 10.5):.1f} V"
        if draft.sometimes(0.2):
            keys["openings_per_cycle"] = 2
        draft.sections["donor.tables.crank"] = keys
        bent = any(name.endswith(("bent_line", "added_time")) for name in draft.sections)
        if draft.sometimes(0.5):
            other: Keys = {}
            storage(draft, other, 100)
            if not bent and draft.sometimes(0.6):
                other["axis_points"] = sorted(rng.sample(range(-30, 100, 5), 4))
            if other:
                draft.sections["target.tables.crank"] = other
    if draft.sometimes(0.25):
        draft.files[f"{name}_warm.csv"] = "degC,%\n-20,160\n0,140\n40,115\n80,100\n"
        draft.sections["donor.tables.warm_up"] = {
            "file": f"{name}_warm.csv", "quantity": "percent", "axis": "coolant temperature", "axis_unit": "degC",
        }  # fmt: skip
    if draft.load == "pressure" and draft.sometimes(0.2):
        speeds, loads = [800.0, 3000.0, 6000.0], [24.0, 60.0, 100.0]
        ratio = [[14.7 if one < 80 else 12.8 for _ in speeds] for one in loads]
        draft.files[f"{name}_goal.csv"] = grid(speeds, loads, ratio, 1)
        draft.sections["donor.tables.goal"] = {
            "file": f"{name}_goal.csv", "quantity": "air/fuel ratio", "basis": 14.7,
            "load": "manifold pressure", "load_unit": "kPa",
        }  # fmt: skip


def sensors(draft: Draft) -> None:
    """Scales of both sides, some of which differ."""
    rng = draft.rng
    if draft.sometimes(0.25):
        for side in ("donor", "target"):
            top = rng.choice([105, 250])
            draft.sections[f"{side}.sensors.map"] = {
                "kind": "pressure", "volts": ["0.5 V", "4.5 V"], "value": [f"{rng.choice([10, 20])} kPa", f"{top} kPa"],
            }  # fmt: skip
    if draft.sometimes(0.2):
        for side in ("donor", "target"):
            draft.sections[f"{side}.sensors.ect"] = {
                "kind": "temperature", "value": ["-20 degC", "20 degC", "100 degC"],
                "resistance": [f"{rng.randint(14, 17)} kohm", "2500 ohm", f"{rng.randint(165, 190)} ohm"],
                "pull_up": rng.choice(["2490 ohm", "1 kohm"]), "supply": "5 V",
            }  # fmt: skip
    if draft.sometimes(0.2):
        for side in ("donor", "target"):
            draft.sections[f"{side}.sensors.wideband"] = rng.choice(
                [
                    {"kind": "lambda", "volts": ["0 V", "5 V"], "value": [0.68, rng.choice([1.36, 1.3])]},
                    {"kind": "air/fuel ratio", "volts": ["0 V", "5 V"], "value": [10, 20], "basis": 14.7},
                ]
            )


def same_parts(draft: Draft) -> None:
    """Some sections that are the same parts on both sides."""
    if not draft.sometimes(0.4):
        return
    same = draft.rng.sample(["injectors", "fuel", "conditions"], draft.rng.randint(1, 2))
    draft.section("target")["same_as_donor"] = [name for name in same if name != "conditions"] or ["fuel"]
    for name in list(draft.sections):
        if any(name.startswith(f"target.{one}") for one in same if one != "conditions"):
            del draft.sections[name]
    if draft.section("target")["same_as_donor"] == ["fuel"]:
        draft.sections.pop("target.fuel", None)


def grid(rpm: list[float], load: list[float], rows: list[list[float]], decimals: int) -> str:
    """A table as text: speeds across, loads down."""
    lines = ["load," + ",".join(f"{one:g}" for one in rpm)]
    lines += [
        ",".join([f"{at:g}", *(f"{cell:.{decimals}f}" for cell in row)]) for at, row in zip(load, rows, strict=True)
    ]
    return "\n".join(lines) + "\n"


def as_toml(sections: dict[str, Keys]) -> str:
    """Sections as TOML, the one without a name first, each section before what lies within it."""
    blocks = []
    for name in sorted(sections):
        keys = [f"{key} = {inline(value)}" for key, value in sections[name].items()]
        blocks.append("\n".join([f"[{name}]", *keys] if name else keys))
    return "\n\n".join(blocks) + "\n"


def inline(value: object) -> str:
    """A value as TOML writes it."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {inline(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(inline, value)) + "]"
    return json.dumps(value, ensure_ascii=False)
