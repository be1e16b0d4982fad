"""A job with round numbers, so that a cell of a further table can be worked out on paper.

Donor: 500 cc per cylinder, 4 g/s at 3 bar rail pressure, L 14.7; target: 600 cc, 8 g/s, L 9.8. The rating fluid and
the fuel in the rail both have 700 kg/m³. From donor to target the fuel's share of a pulse changes by
V_t/V_d · L_d/L_t · ṁ_d/ṁ_t = 1.2 · 1.5 · 0.5 = 0.9. At 8.5 V the dead time is 2.4 ms on the donor and 2.8 ms on the
target.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

from basemap.adaptation.further_tables import adapt_further_table
from basemap.jobfile.load import build_job
from basemap.model.further_table import FurtherResult
from basemap.model.job import Job

FILE = "job.toml"
BASE = """
title = "Invented, with round numbers"

[conditions]
barometer = "100 kPa"
charge_temperature = "40 degC"
battery = "13.8 V"

[donor.engine]
displacement = "2000 cc"
cylinders = 4
rev_limit = "6000 rpm"

[donor.injectors]
static_flow = "240 g/min"
rated_pressure = "3.0 bar"
rated_fluid = "0.70 g/cc"

[donor.injectors.dead_time]
battery = ["8 V", "10 V", "14 V"]
time = ["2.6 ms", "1.8 ms", "1.0 ms"]

[donor.fuel]
stoichiometric = 14.7
density = "700 kg/m3"
rail_pressure = "3.0 bar"
regulator = "manifold"

[donor.tables.fuel]
file = "ve.csv"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = 1.0

[target.engine]
displacement = "2400 cc"
cylinders = 4
induction = "atmospheric"
rev_limit = "6000 rpm"

[target.injectors]
static_flow = "480 g/min"
rated_pressure = "3.0 bar"
rated_fluid = "0.70 g/cc"

[target.injectors.dead_time]
battery = ["8 V", "10 V", "14 V"]
time = ["3.0 ms", "2.2 ms", "1.2 ms"]

[target.fuel]
stoichiometric = 9.8
density = "700 kg/m3"
rail_pressure = "3.0 bar"
regulator = "manifold"
"""
VE = "kPa,1000,3000,5000\n30,60,65,60\n60,70,75,70\n100,80,85,80\n"

TARGET_RAIL = 'stoichiometric = 9.8\ndensity = "700 kg/m3"\nrail_pressure = "3.0 bar"\nregulator = "manifold"'

CRANK = """
[donor.tables.crank]
file = "crank.csv"
quantity = "pulse width"
ecu_applies = []
axis = "coolant temperature"
axis_unit = "degC"
battery = "8.5 V"
"""
CRANK_CSV = "degC,ms\n-20,18.40\n20,9.00\n80,6.40\n"


def job_with(folder: Path, tables: str, *changes: tuple[str, str], **files: str) -> Job:
    """The job with further tables; each change is an old text and its new one; files by name without .csv."""
    text = BASE + tables
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    for name, content in {"ve": VE, **files}.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    return build_job(tomllib.loads(text), folder, FILE)


def first(job: Job) -> FurtherResult:
    """Its first further table, adapted."""
    return adapt_further_table(job, job.further_tables[0])
