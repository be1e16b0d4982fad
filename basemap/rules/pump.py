"""The rule on the fuel pump: whether it gives what full load takes."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.constants import SAME
from basemap.model.demand import LITRES_PER_HOUR
from basemap.model.finding import Severity
from basemap.rounding import rounded_down, rounded_up, without_noise
from basemap.rules.case import Case
from basemap.rules.rule import MODEL, PRACTICE, Answer, Rule, Trip

RESERVE = 1.15
"""Flow of a new pump over what full load takes, for wear, a warm tank and a low battery. Practice, no source."""


def _pump(case: Case) -> Iterator[Answer]:
    demand, fuel = case.computed.fuel_demand, case.job.target.hardware.fuel
    flow, stated_at = fuel.pump_flow_m3_s, fuel.pump_pressure_pa
    if flow is None or stated_at is None:
        return  # the settings to enter say what it must give
    needed, pressure = demand.most.flow_m3_s, demand.pressure_pa
    # Above its rated pressure a pump gives less: taken as the flow for the same hydraulic power.
    gives = flow * min(1.0, stated_at / pressure)
    takes = (
        f"Full load takes {rounded_up(demand.most.litres_per_hour, 1)} l/h at {case.speed(demand.most.rpm)}, "
        f"at {pressure / 1e5:.3g} bar"
    )
    stated = f"the pump gives {flow * LITRES_PER_HOUR:.4g} l/h at {stated_at / 1e5:.3g} bar"
    litres = rounded_down(without_noise(gives * LITRES_PER_HOUR), 1)
    less = "" if gives == flow else f", which is some {litres} l/h at that pressure"
    if needed > flow * (1.0 + SAME):
        severity, limit, words = Severity.STOP, flow, "stop where it is less"
    elif needed * RESERVE > gives * (1.0 + SAME):
        severity, limit, words = Severity.CAUTION, gives / RESERVE, f"caution below {RESERVE:g} times"
    else:
        return
    yield Trip(
        severity,
        f"{takes}; {stated}{less} ({words}).",
        value=demand.most.litres_per_hour,
        limit=limit * LITRES_PER_HOUR,
    )


PUMP = Rule(
    name="fuel-pump",
    title="Fuel pump",
    threshold="The fuel that full load takes, at the worst speed up to the rev limit or cut, is above the flow stated "
    f"as target.fuel.pump: stop. Less than {100 * (RESERVE - 1):.0f} % in reserve: caution; the pump's flow is "
    "assumed to fall as the pressure rises above the stated one. No uncertainty band.",
    why="If the pump delivers less than the engine takes, the rail pressure falls and the engine runs lean at full "
    "load and high speed, however the table is tuned.",
    source=f"{MODEL}; the reserve, and how the flow falls with the pressure: {PRACTICE}",
    remedy="1. Fit a pump that delivers that flow at that pressure. 2. Or state a rev_cut or load_cut below it and "
    "have the ECU enforce it. 3. Watch the fuel pressure on a gauge at full load.",
    judge=_pump,
    can_stop=True,
    about_table=False,
)
