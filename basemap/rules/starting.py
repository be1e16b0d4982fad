"""Rules on starting and idling: whether the engine runs at all, and what the main table does not provide."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.adaptation.outcomes import IDLE_PLACE
from basemap.adaptation.regions import around
from basemap.constants import LEANEST_IDLE, RICHEST_IDLE, SAME, ZERO_CELSIUS
from basemap.errors import as_typed
from basemap.model.finding import Severity
from basemap.model.further_table import FurtherResult, is_cranking
from basemap.model.installation import BoolArray, Fuel
from basemap.physics.fuel_density import LOWEST_PETROL_RATIO
from basemap.rounding import rounded_down, rounded_up, without_noise
from basemap.rules.case import Case, pairs
from basemap.rules.causes import UNCERTAIN_IDLE
from basemap.rules.grading import Grade, Limits, grade
from basemap.rules.mixture import adapted_extremes
from basemap.rules.rule import PRACTICE, UNTOUCHED, Answer, Missing, Rule, Trip

MUCH_ALCOHOL = 0.50
COLD_START_K = ZERO_CELSIUS + 15.0
_SLACK_K = 1e-6

_LEAN = Limits(stop=LEANEST_IDLE)
_RICH = Limits(stop=RICHEST_IDLE, above=False)


def _will_not_run(case: Case) -> Iterator[Answer]:
    intended = case.job.target.table.intended_lambda
    leanest, richest = adapted_extremes(case, case.idle)
    band = case.of_parts  # without the breathing, for which `how_far` speaks
    # A central value beyond one limit comes before an adverse end of the band beyond the other.
    graded = [(grade(leanest * intended, _LEAN, band), True), (grade(richest * intended, _RICH, band), False)]
    tripped = [(found, lean) for found, lean in graded if found is not None]
    for found, lean in sorted(tripped, key=lambda each: not each[0].shown)[:1]:
        yield _at_idle(case, found, lean)
    untouched = np.where(case.idle, case.ratio("old_table_old_settings"), np.nan) * intended
    for limits, lean in ((_LEAN, True), (_RICH, False)):
        past = grade(untouched, limits)
        if past is not None:
            yield Trip(
                Severity.CAUTION,
                f"If loaded as it is, λ is {_number(past.value, lean)} at {case.address(past.cell)}, idle "
                f"({_side(lean)} {past.limit}): it will barely run.",
                UNTOUCHED,
                as_loaded=True,
                value=past.value,
                limit=past.limit,
                cells=pairs(past.past),
            )
            break
    yield from _at_cranking(case)


def _at_cranking(case: Case) -> Iterator[Trip]:
    """A cranking table of pulses, compared with the mixture with which it started the donor."""
    for found in case.computed.further_tables:
        if not found.cranks:
            continue
        cells = _cranking_cells(case, found)
        for ratio, as_loaded in ((found.stored_lambda_ratio, False), (found.old_lambda_ratio, True)):
            judged = np.where(cells, ratio, np.nan)
            band = None if as_loaded else case.further_uncertainty.get(found.name)
            graded = [(grade(judged, _LEAN, band), True), (grade(judged, _RICH, band), False)]
            # A central value beyond one limit comes before an adverse end of the band beyond the other.
            tripped = [(past, lean) for past, lean in graded if past is not None]
            for past, lean in sorted(tripped, key=lambda each: not each[0].shown)[:1]:
                yield _hardly_starts(case.job.stem, found, past, lean, as_loaded=as_loaded)


def _hardly_starts(job: str, found: FurtherResult, past: Grade, lean: bool, *, as_loaded: bool) -> Trip:
    where, limit = found.at(past.cell), f"{_side(lean)} {past.limit}"
    over = "times the λ with which it started the donor"
    if past.shown:
        message = (
            f"{'If loaded as it is' if as_loaded else 'As it is stored'}, the table {found.name} gives "
            f"{_number(past.value, lean)} {over} at {where} ({'' if as_loaded else 'stop '}{limit}): it will barely "
            "start."
        )
        remedy = UNTOUCHED if as_loaded else "Give the ECU's table a wider range, and adapt again."
    else:
        expected = _number(without_noise(past.value), lean)
        message = (
            f"Not shown to start: the table {found.name} may give {_number(past.adverse, lean)} {over} at {where} "
            f"within its uncertainty (k = 2; stop {limit}), where {expected} times is expected."
        )
        point = " ".join(f"{axis.values[at]:g}" for axis, at in reversed([*zip(found.axes, past.cell, strict=True)]))
        asked = f"{as_typed(f'{job}.toml')} --table {as_typed(found.name)} {point}"
        remedy = f"See where it comes from with basemap explain {asked}, and measure that first."
    return Trip(
        Severity.CAUTION if as_loaded else past.severity,
        message,
        remedy,
        as_loaded=as_loaded,
        value=past.value if past.shown else past.adverse,
        limit=past.limit,
        table=found.name,
    )


def _cranking_cells(case: Case, found: FurtherResult) -> BoolArray:
    """Cells in use while cranking: from the coldest start up, or around the cranking speed at the barometer."""
    engine, axis = case.job.target.hardware.engine, found.table.axis
    cells = np.zeros(found.new.shape, dtype=bool)
    if axis is None:
        assert found.table.load_pa is not None
        rows = around(found.table.load_pa, case.barometer_pa)
        cells[np.ix_(rows, around(found.axes[1].values, engine.cranking_rpm))] = True
    elif axis.coolant_k is None:
        cells[:] = True
    else:
        # A table may be written from the warm end; the next point below the coldest start counts too.
        colder = axis.coolant_k[axis.coolant_k <= engine.coldest_start_k + _SLACK_K]
        cells = axis.coolant_k >= colder.max(initial=float(axis.coolant_k.min()))
    return cells


def _at_idle(case: Case, found: Grade, lean: bool) -> Trip:
    where = f"{case.address(found.cell)}, idle"
    if found.shown:
        return Trip(
            found.severity,
            f"With the new table and settings, λ is {_number(found.value, lean)} at {where} "
            f"(stop {_side(lean)} {found.limit}): it will not run.",
            value=found.value,
            limit=found.limit,
            cells=pairs(found.past),
        )
    return Trip(
        found.severity,
        f"Not shown to run: at {where} λ may be {_number(found.adverse, lean)} within its uncertainty (k = 2); "
        f"expected is {_number(without_noise(found.value), lean)} (stop {_side(lean)} {found.limit}).",
        f"{case.measure(IDLE_PLACE)} Be ready to trim idle at the first start.",
        value=found.adverse,
        limit=found.limit,
        cells=pairs(found.past),
        cause=UNCERTAIN_IDLE,
    )


def _number(value: float, lean: bool) -> str:
    return rounded_up(value, 3) if lean else rounded_down(value, 3)


def _side(lean: bool) -> str:
    return "above" if lean else "below"


WILL_NOT_RUN = Rule(
    name="will-not-run",
    title="Will not run",
    threshold=f"λ above {LEANEST_IDLE} or below {RICHEST_IDLE} in the cells around idle: stop. The untouched map: "
    "caution at most. The same limits hold, from the coldest start up, for a cranking table of pulses: there λ is "
    "relative to the one that started the donor.",
    why="Outside these limits an engine misfires: fuel burns in the exhaust, and it does not idle.",
    source=PRACTICE,
    remedy="1. Check the intended λ at idle. 2. Check the dead time and the shortest pulse: they matter most at idle. "
    "3. Correct them and adapt again.",
    judge=_will_not_run,
    can_stop=True,
)


def _much_alcohol(case: Case) -> bool | None:
    """Whether the target's fuel is half alcohol or more; `None` if its composition is not known."""
    fuel = case.job.target.hardware.fuel
    if fuel.alcohol is not None:
        return fuel.alcohol >= MUCH_ALCOHOL - SAME
    return False if fuel.stoichiometric > LOWEST_PETROL_RATIO else None


def _alcohol_in_words(fuel: Fuel) -> str:
    ethanol, alcohol = fuel.ethanol or 0.0, fuel.alcohol or 0.0
    which = "ethanol" if ethanol == alcohol else "alcohol" if ethanol else "methanol"
    return f"{100 * alcohol:.3g} % {which}"


def _ethanol_cold_start(case: Case) -> Iterator[Answer]:
    coldest = case.job.target.hardware.engine.coldest_start_k
    if coldest >= COLD_START_K - _SLACK_K:
        return
    much = _much_alcohol(case)
    if much is None:
        yield Missing(("target.fuel.parts",))
    elif much:
        yield Trip(
            Severity.CAUTION,
            f"The target's fuel is {_alcohol_in_words(case.job.target.hardware.fuel)} and its coldest start is at "
            f"{coldest - ZERO_CELSIUS:.3g} °C (caution from {100 * MUCH_ALCOHOL:g} % below "
            f"{COLD_START_K - ZERO_CELSIUS:g} °C): cold fuelling is not adapted.",
            value=coldest - ZERO_CELSIUS,
            limit=COLD_START_K - ZERO_CELSIUS,
        )


ETHANOL_COLD_START = Rule(
    name="ethanol-cold-start",
    title="Cold start on ethanol or methanol",
    threshold=f"Target's fuel with {100 * MUCH_ALCOHOL:g} % ethanol and methanol or more, and a coldest start below "
    f"{COLD_START_K - ZERO_CELSIUS:g} °C: caution.",
    why="Little of it evaporates in the cold: a cold start takes several times the fuel, and no main table provides "
    "that.",
    source=PRACTICE,
    remedy="1. Make cranking, afterstart and warm-up tables for this fuel on the engine. 2. Until then start it warm, "
    "or blend in petrol for the season.",
    judge=_ethanol_cold_start,
    about_table=False,
)


def _no_cranking_table(case: Case) -> Iterator[Answer]:
    further = [found.name for found in case.computed.further_tables]
    if any(is_cranking(name) for name in further):
        return
    cold = " On this fuel the engine will not start below 15 °C with this table alone." if _much_alcohol(case) else ""
    adapted = f"the main fuel table and {', '.join(further)}" if further else "the main fuel table"
    others = "cranking is not" if further else "cranking, priming, afterstart, warm-up and acceleration are not"
    yield Trip(
        Severity.CAUTION,
        f"Only {adapted} {'are' if further else 'is'} adapted: {others}, and a main table does not start an "
        f"engine.{cold}",
    )


NO_CRANKING_TABLE = Rule(
    name="no-cranking-table",
    title="Further tables missing",
    threshold="The job has no further table whose name contains crank or begins with start: caution. The finding says "
    "more from 50 % ethanol and methanol up.",
    why="The pulses for cranking and acceleration depend on the donor's injectors, displacement and fuel just as the "
    "main table does.",
    source=PRACTICE,
    remedy="1. Put the donor's cranking, priming, warm-up and acceleration tables into the job, as "
    "[donor.tables.crank] and so on: they are adapted along with the main one. 2. Where the donor has none, make "
    "them on the engine.",
    judge=_no_cranking_table,
    about_table=False,
)
