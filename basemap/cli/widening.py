"""How much an unknown answer widens the band on the mixture of the job so far."""

from __future__ import annotations

import re
from typing import Any, cast

import numpy as np

from basemap.adaptation.outcomes import IDLE_PLACE, WIDE_OPEN_PLACE, places
from basemap.cli.answers import Values
from basemap.cli.draft import Draft
from basemap.errors import InputError
from basemap.jobfile.quantities import UNKNOWN
from basemap.model.job import Assumption, Job, SideName
from basemap.rounding import rounded_up

_SHOWN = (IDLE_PLACE, WIDE_OPEN_PLACE)
_TELLS = 0.005
"""Least change of the band on ln λ that is mentioned."""
_WOULD_BE = {"donor.state": "tuned", "target.engine.likeness": "same head and cams"}
"""The answer that is assumed if a choice is left open."""
_QUANTITY = re.compile(r"[0-9.]+( [A-Za-z/0-9]+)?")


def widening(draft: Draft, left_open: Values) -> str:
    """How much wider the band is at idle and wide open, in a sentence.

    Both bands are those of the same job. For the narrower one, each key left open is stated: with the value that would
    be assumed for it, and the usual spread of a stated value.

    Parameters
    ----------
    left_open
        The keys of one question left open, each with `None` or "unknown".

    Returns
    -------
    str
        Empty where the job cannot be built from the answers so far, nothing is assumed, or the band stays.
    """
    stated = {"target.fuel.blend": UNKNOWN, "target.injectors.dead_time": UNKNOWN, **draft.values}
    try:
        without = draft.whole({**stated, **left_open})
        known = _known(without, left_open)
        if not known:
            return ""
        wide, narrow = _bands(without), _bands(draft.whole({**stated, **left_open, **known}))
    except InputError:
        return ""
    told = ", ".join(
        f"{place} from {rounded_up(100 * narrow[place], 0)} to {rounded_up(100 * wide[place], 0)} %"
        for place in wide
        if place in narrow and wide[place] - narrow[place] > _TELLS
    )
    rather = next((f", rather than {value}," for key, value in known.items() if key in _WOULD_BE), "")
    return f"Not knowing{rather} widens the band at {told}." if told else ""


def _known(job: Job, left_open: Values) -> Values:
    """The assumed value, as an answer would state it."""
    found: Values = {}
    for one in job.assumed:
        if one.key in left_open and (value := _as_stated(job, one)) is not None:
            found[one.key] = value
    return found


def _as_stated(job: Job, one: Assumption) -> Any:
    side, _, key = one.key.partition(".")
    if key == "injectors.dead_time":
        hardware = job.side(cast(SideName, side)).hardware
        dead = hardware.injectors.dead_time
        times = dead.at(dead.battery_v, hardware.fuel.rail_pressure_pa).tolist()
        return {"battery": [f"{at:g} V" for at in dead.battery_v], "time": [f"{1e3 * time:.4g} ms" for time in times]}
    if key == "fuel.blend":
        return "E5"
    quantity = _QUANTITY.match(one.value)
    return _WOULD_BE.get(one.key) or (quantity.group() if quantity and one.half_width else None)


def _bands(job: Job) -> dict[str, float]:
    from basemap.adaptation.pipeline import compute
    from basemap.belief.bands import bands_at

    at = places(job)
    found = bands_at(compute(job), [at[name].cell for name in _SHOWN])
    return {name: value for name, value in zip(_SHOWN, found, strict=True) if np.isfinite(value)}
