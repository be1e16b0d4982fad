"""Invented jobs made in Python for the tests of reports: any size, any kind of table, no files."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from basemap.model.injectors import DeadTime, FlowRating, Injectors
from basemap.model.installation import (
    Conditions,
    Cycle,
    DonorState,
    Engine,
    FloatArray,
    Fuel,
    Induction,
    Installation,
    Regulator,
    Told,
)
from basemap.model.job import Assumption, Input, Job, Side, Source
from basemap.model.table import FuelTable, Inside, Shown, TableQuantity

VOLTS = np.array([8.0, 10.0, 12.0, 14.0, 16.0])
DONOR_TIMES = np.array([[2.60e-3, 1.75e-3, 1.20e-3, 0.85e-3, 0.65e-3]])
TARGET_TIMES = np.array([[2.95e-3, 2.05e-3, 1.42e-3, 1.02e-3, 0.80e-3]])
HEPTANE = 683.81407


def make_conditions() -> Conditions:
    return Conditions(barometer_pa=101_325.0, charge_temperature_k=313.15, battery_v=13.8)


def make_donor() -> Installation:
    return Installation(
        conditions=make_conditions(),
        engine=Engine(1998e-6, 4, Cycle.FOUR_STROKE, Induction.ATMOSPHERIC, 10.2, 7000.0),
        injectors=Injectors(
            FlowRating(280e-6 / 60, False, 3e5, HEPTANE), DeadTime(VOLTS, DONOR_TIMES), shortest_pulse_s=1.3e-3
        ),
        fuel=Fuel("E5", 14.18, 727.0, 3e5, Regulator.MANIFOLD, 313.15, density_15=747.5,
                  parts=(("petrol", 0.95), ("ethanol", 0.05)), octane=95.0),
    )  # fmt: skip


def make_target() -> Installation:
    return Installation(
        conditions=make_conditions(),
        engine=Engine(2393e-6, 4, Cycle.FOUR_STROKE, Induction.ATMOSPHERIC, 10.4, 6500.0),
        injectors=Injectors(
            FlowRating(650e-6 / 60, False, 3e5, HEPTANE), DeadTime(VOLTS, TARGET_TIMES), shortest_pulse_s=1.2e-3
        ),
        fuel=Fuel("as measured", 10.17, 765.0, 3.5e5, Regulator.FIXED, 313.15, density_15=784.0,
                  parts=(("petrol", 0.22), ("ethanol", 0.78)), octane=104.0),
    )  # fmt: skip


def speeds(count: int) -> FloatArray:
    return np.asarray(np.round(np.linspace(600.0, 7200.0, count), -1))


def loads_kpa(count: int) -> FloatArray:
    return np.asarray(np.round(np.linspace(20.0, 105.0, count), 1))


def ve_percent(rows: int, cols: int) -> FloatArray:
    """A smooth hill, invented."""
    load, rpm = loads_kpa(rows)[:, np.newaxis], speeds(cols)[np.newaxis, :]
    hill = 38.0 + 0.52 * load - 0.0008 * (load - 60.0) ** 2 + 9.0 * np.exp(-(((rpm - 4200.0) / 1900.0) ** 2))
    return np.asarray(np.round(hill, 1))


def intended_lambda(rows: int, cols: int) -> FloatArray:
    load = loads_kpa(rows)[:, np.newaxis]
    return np.asarray(np.round(np.where(load > 85.0, 0.88, np.where(load > 70.0, 0.95, 1.0)) + np.zeros((1, cols)), 3))


def make_job(
    rows: int = 16, cols: int = 16, *, title: str = "Ferry-lane van: 2.0 map onto the 2.4 on E85 (invented)"
) -> Job:
    """A VE job on a fixed rail with another fuel; change it with `dataclasses.replace`."""
    load = loads_kpa(rows)
    table = FuelTable(
        "fuel", TableQuantity.VOLUMETRIC_EFFICIENCY, ve_percent(rows, cols) / 100.0, speeds(cols), load * 1e3,
        Inside(), intended_lambda(rows, cols), 13.8,
    )  # fmt: skip
    shown = Shown("%", 0.01, load, "kPa", 1)
    return Job(
        title=title,
        donor=Side(make_donor(), Told(), table, shown),
        target=Side(make_target(), Told(), replace(table, values=np.full_like(table.values, np.nan)), shown),
        donor_state=DonorState.TUNED,
        inputs=_inputs(),
        assumed=(
            Assumption("target.engine.idle", "900 rpm @ 35 kPa", None, "not given"),
            Assumption(
                "target.fuel.temperature", "40 degC", "10 K", 'written "unknown"', "the density of the fuel", True
            ),
        ),
        sources=(Source("ferry_van.toml", "a1" * 32), Source("ferry_van_fuel.csv", "0f" * 32)),
        notes={"donor": "bought with the loom; the seller tuned it himself"},
        stem="ferry_van",
    )


def _inputs() -> dict[str, Input]:
    rows = (
        ("donor.engine.displacement", "1998 cc", 1998e-6, 1998.0, "cc", None),
        ("target.engine.displacement", "2393 cc", 2393e-6, 2393.0, "cc", None),
        ("donor.injectors.static_flow", "280 cc/min ± 3 %", 280e-6 / 60, 280.0, "cc/min", 0.03 * 280e-6 / 60),
        ("target.injectors.static_flow", "650 cc/min ± 2 %", 650e-6 / 60, 650.0, "cc/min", 0.02 * 650e-6 / 60),
        ("donor.fuel.rail_pressure", "3.0 bar", 3e5, 3.0, "bar", None),
        ("target.fuel.rail_pressure", "3.5 bar", 3.5e5, 3.5, "bar", None),
    )
    return {key: Input(key, text, value, shown, unit, half) for key, text, value, shown, unit, half in rows}
