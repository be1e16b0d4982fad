"""Rules on the fitted parts, and on inputs that the job does not know."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.adaptation.fuel_vapour import FUEL_FAR
from basemap.model.finding import Severity
from basemap.model.installation import Fuel
from basemap.model.job import SIDES
from basemap.model.table import TableQuantity
from basemap.physics import fuel as fuels
from basemap.rounding import excess, off, signed_percent
from basemap.rules.case import Case
from basemap.rules.grading import Limits, grade
from basemap.rules.rule import MODEL, PRACTICE, STANDARD, Answer, Missing, Rule, Trip

FUEL_CAUTION = 0.02
E85_ETHANOL = (0.51, 0.83)
KNOCK_COMPRESSION_UP, OCTANE_PER_COMPRESSION = 1.0, 4.0
"""Compression from which less octane is a rule of its own, and the RON that 1 of it asks for: 3 to 5. Practice."""

COMPRESSION_UP = 0.5
OCTANE_DOWN = 2.0
ROUNDING_SLACK = 1e-9


def _fuel(case: Case) -> Iterator[Answer]:
    job = case.job
    for side in SIDES:
        if job.side(side).fuel_known:
            yield from _unmeasured(case, side, job.side(side).hardware.fuel)
    if not job.donor.fuel_known:
        yield Missing(("donor.fuel",))
        return
    before, now = job.donor.hardware.fuel.stoichiometric, job.target.hardware.fuel.stoichiometric
    change = now / before - 1.0
    found = grade(abs(change), Limits(caution=FUEL_CAUTION))
    if found is None:
        return
    far = abs(change) > FUEL_FAR
    yield Trip(
        Severity.CAUTION,
        f"The stoichiometric ratio changes from {before:.3f} ({job.donor.hardware.fuel.name}) to {now:.3f} "
        f"({job.target.hardware.fuel.name}), by {excess(now / before)} % ({_fuel_limit(far)}): if loaded as it is, "
        f"this alone makes the mixture {off(before / now)}. {_done(case)}",
        value=100.0 * change,
        limit=100.0 * (FUEL_FAR if far else FUEL_CAUTION),
    )


def _fuel_limit(far: bool) -> str:
    return f"above {100 * FUEL_FAR:g} %: only adapted" if far else f"caution above {100 * FUEL_CAUTION:g} %"


def _done(case: Case) -> str:
    """Where the adapted map carries the change of fuel."""
    job = case.job
    stuck = job.target.told.stoichiometric is not None or "stoichiometric" in job.cannot_be_told
    if job.target.table.quantity is TableQuantity.VOLUMETRIC_EFFICIENCY and not stuck:
        return "Once adapted, the settings to enter allow for it, the cells do not."
    return "Once adapted, the new cells allow for it."


def _unmeasured(case: Case, side: str, fuel: Fuel) -> Iterator[Trip]:
    """E85 that is known by name only: the range that the name covers."""
    stated = (f"{side}.fuel.{key}" in case.job.declared for key in ("parts", "stoichiometric"))
    if fuel.name.strip().casefold() != "e85" or any(stated):
        return
    least, most = (_e85(share, fuel).stoichiometric for share in E85_ETHANOL)
    used = fuel.stoichiometric
    # The target gets too much or too little fuel; the donor's air is read wrong, which works the other way.
    ends = [ratio / used if side == "donor" else used / ratio for ratio in (least, most)]
    yield Trip(
        Severity.CAUTION,
        f"The {side}'s fuel is E85 by name only. By ASTM D5798 that is {100 * E85_ETHANOL[0]:g} to "
        f"{100 * E85_ETHANOL[1]:g} % ethanol: a stoichiometric ratio of {least:.2f} to {most:.2f}, where {used:.2f} "
        f"is used. The same air then needs {signed_percent(used / least)} to {signed_percent(used / most)} fuel, and "
        f"the target runs {off(ends[0])} to {off(ends[1])}.",
        f"Measure the ethanol content of the fuel in the tank and state it as {side}.fuel.parts.",
        value=used,
        limit=least,
        cause=f"ethanol content of the {side}'s E85",
    )


def _e85(ethanol: float, fuel: Fuel) -> fuels.Blend:
    return fuels.blend({"petrol": 1.0 - ethanol, "ethanol": ethanol}, fuel.temperature_k)


FUEL_RULE = Rule(
    name="fuel",
    title="Fuel",
    threshold=f"Stoichiometric ratios {100 * FUEL_CAUTION:g} to {100 * FUEL_FAR:g} % apart: caution; further apart: "
    "caution, and never loaded untouched. E85 of unmeasured ethanol content: caution with the spread.",
    why="The mixture shifts by as much as the ratio, in every cell.",
    source=f"{MODEL}; the spread of E85: {STANDARD}, ASTM D5798",
    remedy="1. Enter the settings and the new table together. 2. Empty and flush the tank and lines before the first "
    "start: any of the other fuel left in them changes the mixture.",
    judge=_fuel,
    about_table=False,
)


def _injection_mode(case: Case) -> Iterator[Answer]:
    job = case.job
    wired = job.target.hardware.injectors.openings_per_cycle
    told = job.donor.told.openings_per_cycle
    told = job.donor.hardware.injectors.openings_per_cycle if told is None else told
    yield from _injector_count(case)
    if told == wired:
        return
    stuck = job.target.told.openings_per_cycle is not None or "openings_per_cycle" in job.cannot_be_told
    times = wired / told
    yield Trip(
        Severity.CAUTION,
        f"The donor's map is set to {told:g} {_openings(told)} of an injector per cycle, the target is wired for "
        f"{wired:g}: loaded as it is, it gives {times:.4g} times the fuel, {'rich' if times > 1 else 'lean'}. "
        + (
            "Once adapted, the new cells allow for it, because the ECU cannot be told."
            if stuck
            else "Once adapted, enter the new number."
        ),
        as_loaded=True,
        value=wired,
        limit=told,
    )


def _injector_count(case: Case) -> Iterator[Answer]:
    """Injectors per cylinder, by which an ECU that works with volumetric efficiency divides."""
    job = case.job
    before, now = (side.hardware.injectors.per_cylinder for side in (job.donor, job.target))
    if before == now or job.other_quantity or job.target.table.quantity is not TableQuantity.VOLUMETRIC_EFFICIENCY:
        return
    times = now / before
    yield Trip(
        Severity.CAUTION,
        f"The donor's map is set to {before:g} {_injectors(before)} per cylinder, the target has {now:g}: with the "
        f"ECU's count left as it was, it gives {times:.4g} times the fuel, {'rich' if times > 1 else 'lean'}. Once "
        "adapted, enter the new number of injectors.",
        value=now,
        limit=before,
    )


def _injectors(count: float) -> str:
    return "injector" if count == 1 else "injectors"


def _openings(count: float) -> str:
    return "opening" if count == 1 else "openings"


INJECTION_MODE = Rule(
    name="injection-mode",
    title="Injection mode",
    threshold="The map is set to other openings per cycle than the target is wired for: caution if loaded as it is; "
    "the adapted table allows for it. Another number of injectors per cylinder: caution.",
    why="Half the openings give half the fuel; twice the openings give twice the fuel.",
    source=MODEL,
    remedy="1. Set the target's ECU to the injection mode and number of injectors that are wired. 2. Before the first "
    "start, count the openings of one injector in two turns of the crank.",
    judge=_injection_mode,
    about_table=False,
)


def _knock(case: Case) -> Iterator[Answer]:
    donor, target = case.job.donor.hardware, case.job.target.hardware
    ratios = donor.engine.compression_ratio, target.engine.compression_ratio
    octanes = donor.fuel.octane, target.fuel.octane
    if ratios[0] is None or ratios[1] is None or octanes[0] is None or octanes[1] is None:
        return  # the rule `ignition` names what is missing
    up, down = ratios[1] - ratios[0], octanes[0] - octanes[1]
    if up < KNOCK_COMPRESSION_UP - ROUNDING_SLACK or down <= ROUNDING_SLACK:
        return
    short = OCTANE_PER_COMPRESSION * up + down
    yield Trip(
        Severity.CAUTION,
        f"Compression {ratios[1]:g} instead of {ratios[0]:g}, on {_octanes(donor.fuel, target.fuel)}: the "
        f"target is some {short:.0f} octane short of the donor, and knocks on the donor's ignition timing.",
        value=short,
        limit=OCTANE_PER_COMPRESSION * KNOCK_COMPRESSION_UP,
    )


KNOCK = Rule(
    name="compression-on-less-octane",
    title="More compression on less octane",
    threshold=f"A compression ratio higher by {KNOCK_COMPRESSION_UP:g} or more on a lower RON: caution, with the "
    f"octane that is missing: {OCTANE_PER_COMPRESSION:g} for each 1 of compression, plus the difference between the "
    "fuels.",
    why="Knock breaks pistons within seconds at load, at any mixture. Each of the two brings knock nearer; together "
    "they use up more than the usual margin in timing.",
    source=PRACTICE,
    remedy="1. Use the fuel with the octane that the target's maker asks for. 2. No load until somebody qualified has "
    "set the ignition on this engine with this fuel, with knock detection.",
    judge=_knock,
    about_table=False,
)


def _ignition(case: Case) -> Iterator[Answer]:
    donor, target = case.job.donor.hardware, case.job.target.hardware
    louder, own_rule = [], any(True for _ in _knock(case))
    before, now = donor.engine.compression_ratio, target.engine.compression_ratio
    if before is None or now is None:
        yield Missing(_unstated(("donor.engine.compression_ratio", before), ("target.engine.compression_ratio", now)))
    elif now - before >= COMPRESSION_UP - ROUNDING_SLACK and not own_rule:
        louder.append(f"its compression ratio is {now:g} instead of {before:g}")
    octane, new_octane = donor.fuel.octane, target.fuel.octane
    if octane is None or new_octane is None:
        yield Missing(_unstated(("donor.fuel.octane", octane), ("target.fuel.octane", new_octane)))
        if case.job.donor.fuel_known and _less_alcohol(donor.fuel, target.fuel):
            louder.append("its fuel contains less alcohol and its octane is not known")
    elif octane - new_octane >= OCTANE_DOWN - ROUNDING_SLACK and not own_rule:
        louder.append(f"its fuel has {_octanes(donor.fuel, target.fuel)}")
    if case.boosted:
        louder.append("it is boosted")
    if louder:
        yield Trip(
            Severity.CAUTION,
            f"The target knocks more readily than the donor: {'; '.join(louder)}. Ignition is not adapted: no load "
            "until somebody qualified has set it on the target.",
            value=float(len(louder)),
        )


def _octanes(donor: Fuel, target: Fuel) -> str:
    """The target's octane instead of the donor's, both as the job states them if it states both alike."""
    indices = donor.antiknock_index, target.antiknock_index
    # Between petrol and alcohol, RON and AKI are not equally far apart: RON it is.
    if None not in indices and abs(_above_index(donor) - _above_index(target)) < ROUNDING_SLACK:
        return f"AKI {indices[1]:g} instead of {indices[0]:g}"
    return f"RON {_ron(target)} instead of {_ron(donor)}"


def _above_index(fuel: Fuel) -> float:
    """How far RON lies above the AKI that is stated."""
    assert fuel.octane is not None
    assert fuel.antiknock_index is not None
    return fuel.octane - fuel.antiknock_index


def _ron(fuel: Fuel) -> str:
    index = fuel.antiknock_index
    return f"{fuel.octane:g}" if index is None else f"{fuel.octane:.0f} or so (AKI {index:g})"


def _unstated(*keys: tuple[str, float | None]) -> tuple[str, ...]:
    return tuple(key for key, value in keys if value is None)


def _less_alcohol(donor: Fuel, target: Fuel) -> bool:
    return donor.alcohol is not None and target.alcohol is not None and target.alcohol < donor.alcohol - ROUNDING_SLACK


IGNITION = Rule(
    name="ignition",
    title="Ignition",
    threshold="A compression ratio higher by 0.5 or more, RON lower by 2 or more, boost, or an unknown octane on a "
    "change to less ethanol and methanol: caution. Ignition is never adapted; every page says so.",
    why="A good mixture with the wrong spark knocks, and knock breaks pistons.",
    source=PRACTICE,
    remedy="1. Check the timing with a light at a fixed advance before the first start. 2. Start from timing that is "
    "known to be retarded. 3. Have it set at load by somebody qualified, with knock detection.",
    judge=_ignition,
    about_table=False,
)


def _unknown_inputs(case: Case) -> Iterator[Answer]:
    for entry in case.job.assumed:
        if entry.unknown:
            spread = f" ± {entry.half_width}" if entry.half_width else ""
            moves = f"; this affects {entry.moves}" if entry.moves else ""
            yield Trip(
                Severity.CAUTION,
                f"{entry.key} is unknown: {entry.value}{spread} stands in for it ({entry.why}){moves}.",
                f"Measure {entry.key} or look it up, state it in the job and adapt again.",
            )


def _without_effect(case: Case) -> Iterator[Answer]:
    keys = case.computed.without_effect
    if keys:
        them, do = ("it", "does") if len(keys) == 1 else ("them", "do")
        yield Trip(
            Severity.NOTE,
            f"{', '.join(keys)} {do} nothing in this job: no number of the result depends on {them}.",
        )


WITHOUT_EFFECT = Rule(
    name="without-effect",
    title="Settings without effect",
    threshold="A stated setting that changes no number of the result, such as a stoichiometric ratio with a table of "
    "pulses: note.",
    why="You stated it because it should do something: perhaps the cells are not what the job says they are.",
    source=MODEL,
    remedy="Check the table's quantity and ecu_applies: do they say what the ECU does? If so, leave the key out.",
    judge=_without_effect,
    about_table=False,
)


UNKNOWN_INPUTS = Rule(
    name="unknown-inputs",
    title="Unknown inputs",
    threshold='Every input that the job calls "unknown": one caution each, with what it changes.',
    why="A default stands in for it. It is likely, but nobody knows.",
    source=MODEL,
    remedy="Measure it or look it up, state it in the job and adapt again.",
    judge=_unknown_inputs,
    about_table=False,
)
