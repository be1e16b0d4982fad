"""One setting to enter: its numbers in the units of the job, and whether it can be entered."""

from __future__ import annotations

from basemap.model.job import Job
from basemap.model.result import Setting


def unit_of(job: Job, keys: tuple[str, ...], default: str, size: float) -> tuple[str, float]:
    """The unit of the first of `keys` that the job states, and its size in SI."""
    for key in keys:
        written = job.inputs.get(key)
        if written is not None and written.shown:
            return written.unit, written.value / written.shown
    return default, size


def row(name: str, unit: str, numbers: tuple[float | None, float], stuck: bool, basis: str) -> Setting:
    """A setting with its old and its new number; a stuck one is in force but cannot be entered."""
    old, value = None if numbers[0] is None else tidy(numbers[0]), tidy(numbers[1])
    if stuck:
        return Setting(name, unit, old, None, f"cannot be told: the cells allow for it; {basis}", in_force=value)
    return Setting(name, unit, old, value, basis, in_force=value)


def tidy(number: float) -> float:
    """A number without the rounding noise of a unit conversion: 1998 cc, not 1998.0000000000002 cc."""
    return float(f"{number:.15g}")


def is_stuck(job: Job, name: str, told: object) -> bool:
    """Whether a setting cannot be entered: the ECU keeps a value of its own, or cannot be told."""
    return told is not None or name in job.cannot_be_told
