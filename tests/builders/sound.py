"""Random jobs in which nothing is wrong: any finding of a rule is a false alarm.

They are job files with their tables, as a user writes them, so that a test can put a mistake into any part of one. The
fuel arithmetic does not use the package and is right to about one per cent.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.builders.engines import RandomBreathing, random_breathing, random_loads_kpa, random_speeds

R_DRY_AIR = 287.05
PETROL, LITRE_PETROL = 14.45, 0.725
"""Stoichiometric ratio, and density in the rail (kg/l), of E5."""
SLOW = ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"]
QUICK = ["2.10 ms", "1.40 ms", "0.95 ms", "0.68 ms", "0.52 ms"]
DEAD_MS = {"SLOW": 0.885, "QUICK": 0.707}
"""At 13.8 V, on the straight line between 12 and 14 V."""
UNITS = {"kPa": 1.0, "inHg absolute": 3.386389, "psi absolute": 6.894757, "bar absolute": 100.0}
APPLIES = ["pressure", "lambda", "dead time"]

Cells = list[list[float]]


@dataclass
class SoundJob:
    """A job as a user writes it: the keys of its file, and its tables with the points of their axes."""

    seed: int
    data: dict[str, Any]
    rpm: list[float]
    load: list[float]
    cells: Cells
    intended: Cells
    decimals: int
    traits: frozenset[str] = field(default_factory=frozenset)

    def write(self, folder: Path) -> Path:
        """Write the job file and its tables; return the path of the job file."""
        (folder / "fuel.csv").write_text(self._grid(self.cells, self.decimals), encoding="utf-8")
        (folder / "lambda.csv").write_text(self._grid(self.intended, 3), encoding="utf-8")
        path = folder / "job.toml"
        path.write_text(toml(self.data), encoding="utf-8")
        return path

    def _grid(self, cells: Cells, decimals: int) -> str:
        lines = [["load", *(f"{rpm:g}" for rpm in self.rpm)]]
        for load, row in zip(self.load, cells, strict=True):
            lines.append([f"{load:g}", *(f"{value:.{decimals}f}" for value in row)])
        return "\n".join([*(",".join(line) for line in lines), ""])


def toml(data: Mapping[str, Any], place: str = "") -> str:
    """Text, numbers, lists and tables as TOML."""
    plain = {key: value for key, value in data.items() if not isinstance(value, Mapping)}
    head = f"\n[{place}]\n" if place and plain else ""
    lines = "".join(f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in plain.items())
    inner = (
        toml(value, f"{place}.{key}" if place else key) for key, value in data.items() if isinstance(value, Mapping)
    )
    return head + lines + "".join(inner)


def sound_job(seed: int, size: int | None = None) -> SoundJob:
    """One random job, always the same for the same seed; `size` gives the number of rows and of columns."""
    rng = random.Random(seed)
    boosted = rng.random() < 0.3
    peak = float(rng.randrange(140, 260, 10)) if boosted else 101.3
    donor = _Engine(rng, boosted=boosted, peak_kpa=peak)
    target = donor.another(rng)
    unit = rng.choice(["kPa", "kPa", "kPa", *UNITS])
    top = peak if boosted else rng.choice([100.0, 101.0, 105.0])
    # Every cell is made for the load as the file has it, after rounding.
    load = [round(kpa / UNITS[unit], 3) for kpa in random_loads_kpa(rng, top, size)]
    rpm = [float(speed) for speed in random_speeds(rng, donor.rev_limit, size)]
    intended = [[mixture(one * UNITS[unit], boosted=boosted) for _ in rpm] for one in load]
    pulses, noise = rng.random() < 0.45, rng.choice([0.0, 0.003, 0.008, 0.015])
    applies = [name for name in APPLIES if not pulses or (name != "pressure" and rng.random() < 0.5)]
    cells = [
        [
            donor.cell(speed, one * UNITS[unit], mixture_, applies if pulses else None)
            * math.exp(rng.gauss(0.0, noise) if noise else 0.0)
            for speed, mixture_ in zip(rpm, row, strict=True)
        ]
        for one, row in zip(load, intended, strict=True)
    ]
    data = {
        "title": f"Sound job {seed} (invented data)",
        "donor": {
            "state": "tuned",
            **donor.sections(rng, rated=True),
            "tables": {
                "fuel": {
                    "file": "fuel.csv",
                    "quantity": "pulse width" if pulses else "volumetric efficiency",
                    **({"unit": "ms", "ecu_applies": applies} if pulses else {}),
                    "load": "manifold pressure",
                    "load_unit": unit,
                    "lambda": "lambda.csv",
                }
            },
        },
        "target": target.sections(rng, rated=False),
    }
    traits = [
        ("boosted", boosted),
        ("pulses", pulses),
        ("steps", bool(donor.breathing.steps)),
        ("coarse", len(rpm) < 9),
    ]
    decimals = 3 if pulses else rng.choice([0, 1, 1, 2])
    return SoundJob(seed, data, rpm, load, cells, intended, decimals, frozenset(name for name, has in traits if has))


def mixture(kpa: float, *, boosted: bool) -> float:
    """Intended λ: 1 at part load, 0.87 wide open, richer in boost."""
    wide_open = 1.0 - 0.13 * min(max((kpa - 65.0) / 25.0, 0.0), 1.0)
    return round(wide_open - (0.07 * min(max((kpa - 100.0) / 80.0, 0.0), 1.0) if boosted else 0.0), 3)


class _Engine:
    """One side: an engine with injectors of the right size, on petrol."""

    def __init__(self, rng: random.Random, *, boosted: bool, peak_kpa: float, litres: float | None = None) -> None:
        self.boosted, self.peak_kpa = boosted, peak_kpa
        self.cylinders = rng.choice([3, 4, 4, 4, 5, 6, 8])
        each = rng.uniform(0.28, 0.62) if litres is None else litres
        self.displacement_cc = float(round(1000 * each * self.cylinders))
        self.rev_limit = float(rng.choice([4500, 5500, 6000, 6500, 7000, 7500, 8500]))
        self.breathing: RandomBreathing = random_breathing(rng, self.rev_limit, boosted=boosted)
        self.rail_kpa = float(rng.choice([250, 300, 300, 350, 400]))
        self.fixed = not boosted and rng.random() < 0.3
        self.rated_rpm = round(0.92 * self.rev_limit / 100) * 100.0
        self.dead = rng.choice(["SLOW", "QUICK"])
        self.duty = rng.uniform(0.42, 0.84)
        self.flow_cc_min = float(round(self._flow_for(self.duty)))

    def another(self, rng: random.Random) -> _Engine:
        """A target for which this engine's map is a fair base map."""
        own = _Engine(
            rng,
            boosted=self.boosted,
            peak_kpa=self.peak_kpa,
            litres=self.displacement_cc / self.cylinders / 1e3 * rng.uniform(0.8, 1.25),
        )
        own.cylinders = self.cylinders if rng.random() < 0.8 else own.cylinders
        own.rev_limit = self.rev_limit
        own.displacement_cc = float(
            round(self.displacement_cc / self.cylinders * own.cylinders * rng.uniform(0.8, 1.25))
        )
        own.breathing = self.breathing
        own.flow_cc_min = float(round(own._flow_for(own.duty)))
        return own

    def air_kg(self, rpm: float, kpa: float) -> float:
        """Air of one cylinder in one cycle at 40 °C."""
        volume = self.displacement_cc * 1e-6 / self.cylinders
        return self.breathing.ve(rpm, kpa) * kpa * 1e3 * volume / (R_DRY_AIR * 313.15)

    def _flow_for(self, duty: float) -> float:
        """Injector flow, cc/min of n-heptane at 3 bar, that gives this duty at full load and the rev limit."""
        kpa, rpm = self.peak_kpa, self.rev_limit
        across = self.rail_kpa + (101.3 - kpa if self.fixed else 0.0)
        grams = 1e3 * self.air_kg(rpm, kpa) / (PETROL * mixture(kpa, boosted=self.boosted))
        open_s = duty * 120.0 / rpm - DEAD_MS[self.dead] / 1e3
        return 60.0 * grams / open_s / math.sqrt(0.6838 * LITRE_PETROL) / math.sqrt(across / 300.0)

    def cell(self, rpm: float, kpa: float, lambda_: float, applies: list[str] | None) -> float:
        """The donor's cell: in per cent, or in ms if `applies` lists what its ECU applies to a pulse."""
        if applies is None:
            fixed = math.sqrt(self.rail_kpa / (self.rail_kpa + 101.3 - kpa)) if self.fixed else 1.0
            return 100.0 * self.breathing.ve(rpm, kpa) * fixed
        across = self.rail_kpa + (101.3 - kpa if self.fixed else 0.0)
        flow = self.flow_cc_min / 60.0 * math.sqrt(0.6838 * LITRE_PETROL) * math.sqrt(across / 300.0)
        of_lambda = 1.0 if "lambda" in applies else lambda_
        dead = 0.0 if "dead time" in applies else DEAD_MS[self.dead]
        return 1e3 * 1e3 * self.air_kg(rpm, kpa) / (PETROL * of_lambda * flow) + dead

    def power_kw(self) -> float:
        """Power at the rated speed, kW, from a usual fuel consumption: 0.305 kg/kWh, or 0.365 if boosted."""
        kpa = self.peak_kpa if self.boosted else 99.0
        air_kg_s = self.air_kg(self.rated_rpm, kpa) * 313.15 / 298.15 * self.cylinders * self.rated_rpm / 120.0
        return 3600.0 * air_kg_s / (14.6 * mixture(kpa, boosted=self.boosted) * (0.365 if self.boosted else 0.305))

    def sections(self, rng: random.Random, *, rated: bool) -> dict[str, Any]:
        """The sections of a job file for engine, injectors and fuel."""
        engine: dict[str, Any] = {
            "displacement": f"{self.displacement_cc:g} cc",
            "cylinders": self.cylinders,
            "induction": "boosted" if self.boosted else "atmospheric",
            "rev_limit": f"{self.rev_limit:g} rpm",
        }
        if self.boosted:
            engine["peak_pressure"] = f"{self.peak_kpa:g} kPa"
        if rated and rng.random() < 0.7:
            engine["rated_power"] = f"{self.power_kw() * rng.uniform(0.92, 1.08):.0f} kW @ {self.rated_rpm:g} rpm"
        return {
            "engine": engine,
            "injectors": {
                "static_flow": f"{self.flow_cc_min:g} cc/min",
                "rated_pressure": "3 bar",
                "rated_fluid": "n-heptane",
                "dead_time": {
                    "battery": ["8 V", "10 V", "12 V", "14 V", "16 V"],
                    "time": SLOW if self.dead == "SLOW" else QUICK,
                },
            },
            "fuel": {
                "blend": "E5",
                "rail_pressure": f"{self.rail_kpa:g} kPa",
                "regulator": "fixed" if self.fixed else "manifold",
            },
        }
