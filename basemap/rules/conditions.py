"""Rules on the conditions that a job states."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.constants import LEAN_CAUTION, ZERO_CELSIUS
from basemap.model.finding import Severity
from basemap.rounding import rounded_up
from basemap.rules.case import Case, pairs
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, Answer, Rule, Trip

USUAL_C = (-25.0, 80.0)
"""Charge temperatures of an engine at work, °C; without an intercooler boost is hotter. Common practice, no source."""

APART_K = 30.0
"""How far apart the two sides may be before the rule asks whether both are meant. Common practice, no source."""


def _cold_air(case: Case) -> Iterator[Answer]:
    """A cold morning, if the ECU does not correct for it; cells that are lean anyway have their own rule."""
    sweep, ratio = case.computed.temperature_sweep, case.ratio("new_table_new_settings")
    coldest = np.where(case.at_load & (ratio <= LEAN_CAUTION), np.round(sweep.coldest, 9), np.nan)
    found = grade(coldest, Limits(caution=LEAN_CAUTION))
    if found is None:
        return
    cold = sweep.charge_k[0] - ZERO_CELSIUS
    yield Trip(
        Severity.CAUTION,
        f"At a charge temperature of {cold:.4g} °C λ is {rounded_up(found.value, 3)} times the intended at load, at "
        f"{case.address(found.cell)} (caution above {LEAN_CAUTION:.2f}): the ECU does not correct for cold air.",
        value=found.value,
        limit=LEAN_CAUTION,
        cells=pairs(found.past),
    )


COLD_AIR = Rule(
    name="cold-air",
    title="Cold air",
    threshold=f"λ of the new table at load above {LEAN_CAUTION:.2f} times the intended at the lowest temperature of "
    "target.conditions.charge_temperature_range (25 K below the stated charge temperature if not given): caution.",
    why="A table made at 40 °C is 14.6 % lean at 0 °C if the ECU does not correct for cold air: cold air is denser.",
    source=f"{MODEL}; its limit: {PRACTICE}",
    remedy="1. Have the ECU correct for the charge temperature. 2. Otherwise make the table for the coldest air that "
    "the engine will see, stated as target.conditions.charge_temperature, and accept that it runs rich in warm air.",
    judge=_cold_air,
)


def _charge_temperature(case: Case) -> Iterator[Answer]:
    sides = {"donor": case.job.donor.hardware.conditions, "target": case.job.target.hardware.conditions}
    celsius = {name: conditions.charge_temperature_k - ZERO_CELSIUS for name, conditions in sides.items()}
    low, high = USUAL_C
    for name, value in celsius.items():
        if not low <= value <= high:
            limits = f"(caution outside {low:g} to {high:g} °C)"
            yield _trip(f"The {name}'s charge temperature is stated as {value:.4g} °C {limits}", value)
            return
    apart = abs(celsius["target"] - celsius["donor"])
    if apart > APART_K:
        yield _trip(
            f"The charge temperature is stated as {celsius['donor']:.4g} °C on the donor and {celsius['target']:.4g} "
            f"°C on the target (caution above {APART_K:g} K apart)",
            celsius["target"],
        )


def _trip(begin: str, celsius: float) -> Trip:
    as_fahrenheit = (celsius - 32.0) / 1.8
    return Trip(
        Severity.CAUTION,
        f"{begin}: every 3 K change the fuel by 1 %. Is this in degF? {celsius:.4g} degF is {as_fahrenheit:.3g} degC.",
        value=celsius,
    )


CHARGE_TEMPERATURE = Rule(
    name="charge-temperature",
    title="Charge temperature",
    threshold=f"Charge temperature outside {USUAL_C[0]:g} to {USUAL_C[1]:g} °C on either side, or more than "
    f"{APART_K:g} K apart: caution.",
    why="A charge temperature stated too warm makes the whole table too lean: by 20 % for 104 °C in place of 104 degF.",
    source=PRACTICE,
    remedy="State the temperature of the air in the manifold that each map is made for, with its unit.",
    judge=_charge_temperature,
)
