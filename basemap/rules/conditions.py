"""Rules on the conditions that a job states."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.constants import ZERO_CELSIUS
from basemap.model.result import Severity
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip

USUAL_C = (-25.0, 80.0)
"""Charge temperatures of an engine at work, °C; without an intercooler boost is hotter. Common practice, no source."""

APART_K = 30.0
"""How far apart both sides may be before it is asked whether both are meant. Common practice, no source."""


def _charge_temperature(case: Case) -> Iterator[Answer]:
    sides = {"donor": case.job.donor.hardware.conditions, "target": case.job.target.hardware.conditions}
    celsius = {name: conditions.charge_temperature_k - ZERO_CELSIUS for name, conditions in sides.items()}
    low, high = USUAL_C
    for name, value in celsius.items():
        if not low <= value <= high:
            limits = f"(caution outside {low:g} to {high:g} °C)"
            yield _trip(f"The charge of the {name} is stated at {value:.4g} °C {limits}", value)
            return
    apart = abs(celsius["target"] - celsius["donor"])
    if apart > APART_K:
        yield _trip(
            f"The charge is stated at {celsius['donor']:.4g} °C on the donor and {celsius['target']:.4g} °C on the "
            f"target (caution above {APART_K:g} K apart)",
            celsius["target"],
        )


def _trip(begin: str, celsius: float) -> Trip:
    as_fahrenheit = (celsius - 32.0) / 1.8
    return Trip(
        Severity.CAUTION,
        f"{begin}: every 3 K are 1 % of the fuel. Are these degF? {celsius:.4g} degF is {as_fahrenheit:.3g} degC.",
        value=celsius,
    )


CHARGE_TEMPERATURE = Rule(
    name="charge-temperature",
    title="Charge temperature",
    threshold=f"Charge temperature of either side outside {USUAL_C[0]:g} to {USUAL_C[1]:g} °C, or the two more than "
    f"{APART_K:g} K apart: caution.",
    why="Warm air is thin: stated too warm, the whole table is too lean, by 20 % for 104 °C in place of 104 degF.",
    source=PRACTICE,
    remedy="State the temperature of the air in the manifold at which each map is meant, with its unit.",
    judge=_charge_temperature,
)
