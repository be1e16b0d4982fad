"""Refusals of logs that nothing can be learnt from; each message says what to do."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from basemap.errors import InputError
from basemap.logs.log import Log
from basemap.logs.probe import Ends
from basemap.logs.steady import WARM_K
from basemap.model.installation import FloatArray

SHORTEST_RUN_S = 60.0
SHORTEST_STEADY_S = 15.0
END_SHARE = 1.0 / 3.0
LEAST_MOVE = 0.002
"""Standard deviation of ln λ below which a probe counts as dead."""

LOOP_HOLDS = 0.012
"""How near to the intended mixture, in ln λ, a closed loop holds the mean of a steady stretch."""
LOOP_LOAD = 0.7
"""Share of the barometer up to which a loop is usually closed (common practice)."""

BEYOND_LIMIT, BEYOND_FOR_S = 1.3, 1.0
"""Share of the rev limit that no engine runs at, and for how long a log must show it: a trigger may miscount for a
moment. Common practice, no source."""


def refuse_impossible_speed(log: Log, rev_limit_rpm: float | None) -> None:
    """Refuse a log whose engine speed is far beyond the rev limit: every reading would be compared in a wrong cell.

    Raises
    ------
    InputError
        If so; a speed that counts double is the usual reason.
    """
    if rev_limit_rpm is None:
        return
    beyond = log.rpm > BEYOND_LIMIT * rev_limit_rpm
    if float(beyond.sum()) * log.step_s >= BEYOND_FOR_S:
        raise InputError(
            f"the engine speed reaches {np.nanmax(log.rpm):.0f} rpm, and the target's rev limit is {rev_limit_rpm:g} "
            "rpm: the logger may count it double, or the log is of another engine; correct it and log again",
            file=log.file,
        )


def refuse_dead_probe(log: Log, ends: Ends) -> None:
    """Refuse a log whose probe does not move, or reads its rich end for over a third of the time.

    A probe at its *lean* end is not refused here: it is a danger, and the report has to say so first.

    Raises
    ------
    InputError
        If the probe shows nothing; the message says what to check.
    """
    values = log.lambda_read[log.running & np.isfinite(log.lambda_read)]
    if not values.size:
        raise InputError(
            "holds no lambda while the engine runs: check the wideband's wiring to the logger", file=log.file
        )
    if float(np.std(np.log(values))) < LEAST_MOVE:
        raise InputError(
            f"lambda stays at {np.median(values):.3f} throughout: the probe is cold, or another signal was logged",
            file=log.file,
        )
    rich = float(np.mean(ends.at_rich(values)))
    if rich > END_SHARE:
        raise InputError(
            f"lambda reads the rich end of its range, {ends.rich:.2f}, for {100 * rich:.0f} % of the time, where it "
            "cannot be compared: check the probe and the fuel pressure",
            file=log.file,
        )


def at_lean_end(log: Log, ends: Ends) -> float:
    """Share of the running time in which the probe reads its lean end."""
    values = log.lambda_read[log.running & np.isfinite(log.lambda_read)]
    return float(np.mean(ends.at_lean(values))) if values.size else 0.0


def refuse_too_little(logs: Iterable[Log], steady_s: float) -> None:
    """Refuse drives that are too short, never warm, or never steady; several logs count together.

    Raises
    ------
    InputError
        If so; the message says how much there is and how much is expected.
    """
    logs = tuple(logs)
    if not logs:
        return
    file = ", ".join(log.file for log in logs)
    running = sum(float(log.running.sum()) * log.step_s for log in logs)
    if running < SHORTEST_RUN_S:
        raise InputError(
            f"the engine runs for {running:.0f} s: expected at least {SHORTEST_RUN_S:.0f} s; log a longer drive",
            file=file,
        )
    hottest = max((float(np.nanmax(log.coolant_k, initial=0.0)) for log in logs), default=0.0)
    if hottest < WARM_K:
        raise InputError(
            f"the coolant never gets above {hottest - 273.15:.0f} degC: expected 70 or more; log until the engine is "
            "warm",
            file=file,
        )
    if steady_s < SHORTEST_STEADY_S:
        raise InputError(
            f"has {steady_s:.0f} s of steady running, warm and with a probe reading: expected at least "
            f"{SHORTEST_STEADY_S:.0f} s; hold each speed and load for several seconds",
            file=file,
        )


def refuse_hidden_loop(log: Log, off: FloatArray, rpm: FloatArray) -> None:
    """Refuse a closed loop if neither its trim nor the pulse is logged: it hides what the table does.

    Parameters
    ----------
    off, rpm
        ln of measured over intended λ, and the engine speed, of the steady stretches at part load.

    Raises
    ------
    InputError
        If λ is as intended in the whole drive.
    """
    if log.pulse_s is not None or log.trim is not None or off.size < 10 or rpm.max() < 1.3 * rpm.min():
        return
    middle = float(np.median(off))
    scatter = 1.4826 * float(np.median(np.abs(off - middle)))
    if abs(middle) < LOOP_HOLDS and scatter < LOOP_HOLDS:
        raise InputError(
            "lambda is as intended throughout the drive, as closed loop holds it, but neither its trim nor the pulse "
            "is logged: log one of them, or switch closed loop off",
            file=log.file,
        )
