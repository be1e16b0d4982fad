"""Where the program and the independent calculation disagree."""

from __future__ import annotations

import math

from basemap.model.installation import FloatArray
from basemap.model.result import Computed, Setting
from basemap.model.table_result import LAMBDA_CASES
from tests.independent import calculation
from tests.independent.plain_numbers import Grid, Problem

RELATIVE = 1e-9
SI_PER_UNIT = {"": 1.0, "cc": 1e-6, "cc/min": 1e-6 / 60.0, "g/min": 1e-3 / 60.0, "ms": 1e-3, "mg": 1e-6}


def same(expected: float, actual: float) -> bool:
    """Whether two numbers are equal to 1e-9, or both NaN, or both the same infinity."""
    if math.isfinite(expected) and math.isfinite(actual):
        return math.isclose(expected, actual, rel_tol=RELATIVE)
    return expected == actual or (math.isnan(expected) and math.isnan(actual))


def unlike_cells(name: str, expected: Grid, actual: FloatArray, per_unit: float = 1.0) -> list[str]:
    """The cells of one grid that differ, each with both numbers."""
    if actual.shape != (len(expected), len(expected[0])):
        return [f"{name}: shape {actual.shape}, expected {(len(expected), len(expected[0]))}"]
    return [
        f"{name}[{i}][{j}]: {actual[i, j] * per_unit!r}, expected {value!r}"
        for i, line in enumerate(expected)
        for j, value in enumerate(line)
        if not same(value, float(actual[i, j]) * per_unit)
    ]


def grid_disagreements(problem: Problem, computed: Computed) -> list[str]:
    """Differences in the cells of the new table, its pulse, duty and air, and the four outcomes."""
    expected, actual = calculation.answer(problem), computed.table
    found = unlike_cells("new", expected.new, actual.new, computed.job.target.shown.per_unit)
    found += unlike_cells("pulse", expected.pulse, actual.pulse_s)
    found += unlike_cells("duty", expected.duty, actual.duty)
    found += unlike_cells("air", expected.air, actual.target.air_kg)
    for case in LAMBDA_CASES:
        found += unlike_cells(case, expected.outcomes[case], actual.lambda_ratio[case])
    return found


def sweep_disagreements(problem: Problem, computed: Computed) -> list[str]:
    """Differences in the mixture over battery voltage: the leanest and the richest cell at three voltages."""
    sweep, found = computed.sweep, []
    for place in (0, len(sweep.battery_v) // 2, len(sweep.battery_v) - 1):
        battery = float(sweep.battery_v[place])
        expected = calculation.extremes(problem, battery)
        actual = float(sweep.leanest[place]), float(sweep.richest[place])
        if not all(map(same, expected, actual)):
            found.append(f"sweep at {battery} V: {actual}, expected {expected}")
    return found


def setting_disagreements(problem: Problem, computed: Computed) -> list[str]:
    """Differences in the settings, and settings that the target's ECU works with but that are not listed."""
    listed = {setting.name: setting for setting in computed.settings}
    needed = {"displacement", "static_flow", "stoichiometric", "openings_per_cycle"} if problem.new.is_ve else set()
    if calculation.target_settings(problem, problem.new.battery).below is not None:
        needed |= {"flow_below_bend", "mass_at_bend"}
    if not problem.new.dead_time_inside:
        needed.add("dead_time")
    found = [f"setting {name} is not listed" for name in sorted(needed - set(listed))]
    for setting in listed.values():
        found += one_setting(problem, setting)
    return found


def one_setting(problem: Problem, setting: Setting) -> list[str]:
    """Differences in one setting: the number to enter, or the one that stays in force if it cannot be told."""
    expected = in_force(problem, setting)
    shown = setting.in_force if is_stuck(problem, setting.name) else setting.enter
    if is_stuck(problem, setting.name) and setting.enter is not None:
        return [f"{setting.name}: {setting.enter} to enter, though it cannot be told"]
    numbers = list(shown) if isinstance(shown, tuple) else [math.nan if shown is None else shown]
    given = [number * SI_PER_UNIT[setting.unit] for number in numbers]
    if len(given) != len(expected) or not all(map(same, expected, given)):
        return [f"{setting.name}: {given}, expected {expected}"]
    return []


def is_stuck(problem: Problem, name: str) -> bool:
    """Whether the target's ECU keeps a value of its own or the donor's."""
    target = problem.target
    if name in ("flow_below_bend", "mass_at_bend"):
        return "bent_line" in problem.stuck
    own = {
        "cylinders": None,
        "injectors": None,
        "intended_lambda": None,
        "displacement": target.told_displacement,
        "static_flow": target.told_flow,
        "stoichiometric": target.told_stoichiometric,
        "openings_per_cycle": target.told_openings,
        "dead_time": target.told_dead,
    }
    return name in problem.stuck or own[name] is not None


def in_force(problem: Problem, setting: Setting) -> list[float]:
    """The setting that the target's ECU works with, as the number that is typed."""
    if setting.name == "dead_time":
        return [calculation.target_dead_time(problem, volts) for volts in setting.battery_v]
    target, donor = problem.target, problem.donor
    if setting.name == "static_flow":
        stuck = calculation.donor_flow_entry(donor) if target.told_flow is None else target.told_flow
        return [stuck if is_stuck(problem, "static_flow") else calculation.to_enter(problem)["static_flow"]]
    if setting.name in ("flow_below_bend", "mass_at_bend"):
        return [calculation.slope_entry(problem, setting.name)]
    found = {
        "cylinders": lambda problem: float(problem.target.cylinders),
        "injectors": lambda problem: problem.target.cylinders * problem.target.per_cylinder,
        "intended_lambda": lambda problem: problem.new.lambda_[0][0],
        "displacement": calculation.target_displacement,
        "stoichiometric": calculation.target_stoichiometric,
        "openings_per_cycle": calculation.target_openings,
    }
    return [found[setting.name](problem)]


def disagreements(problem: Problem, computed: Computed) -> list[str]:
    """All differences between the program and the independent calculation."""
    found = grid_disagreements(problem, computed)
    return found + setting_disagreements(problem, computed) + sweep_disagreements(problem, computed)
