"""Logged pulses against commanded ones: they show whether the log belongs to this job, and the controller's formula."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from basemap.errors import InputError
from basemap.logs.log import Log
from basemap.model.installation import BoolArray, FloatArray
from basemap.model.learnt import Formula

AGREES = 0.01
"""Largest scatter of logged over commanded pulses, without dead time, at which nothing else acts on them."""
FORMULA_REACH = 0.10
"""How far a controller's own constants may differ from physics; beyond it, another table or other settings were
loaded."""
HIDDEN_TRIM = 0.20
FORMULA_ASSUMED, DEAD_TIME_AGREES_S = 0.05, 0.03e-3
"""Standard uncertainty assumed for a controller's constants, and how near its dead time must be to that of the
settings."""
_MOST_ROWS = 5000
_VOLTS_SPREAD = 0.15


@dataclass(frozen=True)
class Checked:
    """The logged pulses, and what they show of the controller's formula.

    Parameters
    ----------
    pulse_s
        The pulses with their dead time, shape (moments,).
    log_formula
        ln of logged over commanded pulse, without dead time and trim, shape (moments,); NaN if the log may hide a
        trim.
    formula
        The controller's constants by regression; `None` if the log may hide a trim.
    """

    pulse_s: FloatArray
    log_formula: FloatArray
    formula: Formula | None


def check_pulses(
    log: Log, commanded_s: FloatArray, told_s: FloatArray, steady: BoolArray, nominal_factor: float
) -> Checked:
    """Compare the logged pulses with the commanded ones while the engine is warm and steady.

    Parameters
    ----------
    commanded_s
        Pulses that the table and the settings command, without trims, shape (moments,), s.
    told_s
        Dead time that the settings add, shape (moments,), s.
    steady
        Moments that count, shape (moments,).
    nominal_factor
        κ of the settings.

    Raises
    ------
    InputError
        If the log does not belong to this job, or the pulse is logged without its dead time and nobody says so.
    """
    assert log.pulse_s is not None
    trim = np.ones(log.rpm.shape) if log.trim is None else log.trim
    pulse = log.pulse_s + told_s if log.pulse_includes_dead_time is False else log.pulse_s
    line = (commanded_s - told_s) * trim
    kept = steady & (line > 0) & np.isfinite(pulse) & (pulse > 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        every = np.log((pulse - told_s) / line)
    nothing = np.full(pulse.shape, np.nan)
    rows = np.flatnonzero(kept)
    if rows.size < 20:
        return Checked(pulse, nothing, None)
    rows = (
        rows[np.unique(np.linspace(0, rows.size - 1, _MOST_ROWS).astype(np.intp))] if rows.size > _MOST_ROWS else rows
    )
    line, told, logged = line[rows], told_s[rows], pulse[rows]
    with np.errstate(invalid="ignore", divide="ignore"):
        off, bare = np.log((logged - told) / line), np.log(logged / line)
    off_scatter, bare_scatter = _scatter(off), _scatter(bare)
    if log.pulse_includes_dead_time is None and bare_scatter < AGREES and not off_scatter < 3.0 * bare_scatter:
        raise InputError(
            "the logged pulse is shorter by the dead time throughout: say so in [log.columns], pulse = { …, "
            "dead_time_included = false }",
            file=log.file,
        )
    middle = float(np.nanmedian(off))
    fits = off_scatter <= AGREES and abs(middle) <= FORMULA_REACH
    if fits:
        formula = _regression(line, told, logged, log.battery_v[rows], nominal_factor)
        return Checked(pulse, every, formula)
    low, high = (100.0 * (np.exp(one) - 1.0) for one in np.nanquantile(off, (0.05, 0.95)))
    if log.trim is None and max(abs(low), abs(high)) <= 100.0 * HIDDEN_TRIM:
        return Checked(pulse, nothing, None)
    raise InputError(
        f"the logged pulse is {low:+.0f} to {high:+.0f} % off what this table and these settings command, warm and "
        "steady: the log belongs to another job, or another table was loaded (name it with --loaded)",
        file=log.file,
    )


def _scatter(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    if known.size < 0.9 * values.size:
        return float("inf")
    return float(1.4826 * np.median(np.abs(known - np.median(known))))


def _regression(
    line: FloatArray, told: FloatArray, logged: FloatArray, volts: FloatArray, nominal_factor: float
) -> Formula:  # fmt: skip
    """κ and the added dead time over voltage by least squares, with their spreads from the residuals."""
    middle = float(np.median(volts))
    moves = float(np.std(volts)) > _VOLTS_SPREAD
    columns = [line, np.ones(line.size)] + ([volts - middle] if moves else [])
    design = np.column_stack(columns)
    scale = np.linalg.norm(design, axis=0)
    solution, *_ = np.linalg.lstsq(design / scale, logged, rcond=None)
    found = solution / scale
    residual = logged - design @ found
    # Neighbouring moments are not independent: every fifth counts.
    freedom = max(line.size / 5.0 - len(columns), 1.0)
    spread = float(np.sqrt(np.sum(residual**2) / line.size * (line.size / 5.0) / freedom))
    inverse = np.linalg.inv((design / scale).T @ (design / scale))
    standards = spread * np.sqrt(np.diag(inverse) * 5.0) / scale
    told_here = float(np.interp(middle, *_ordered(volts, told)))
    told_slope = float(np.polyfit(volts - middle, told, 1)[0]) if moves else 0.0
    as_told = abs(found[1] - told_here) <= max(2.0 * standards[1], DEAD_TIME_AGREES_S)
    agrees = as_told and abs(found[0] - 1.0) <= FORMULA_ASSUMED
    return Formula(
        factor=float(found[0]) * nominal_factor,
        factor_standard=float(standards[0]) * nominal_factor,
        dead_time_ms=1e3 * float(found[1]),
        dead_time_standard_ms=1e3 * float(standards[1]),
        battery_v=middle,
        per_volt_ms=1e3 * float(found[2]) if moves else None,
        per_volt_standard_ms=1e3 * float(standards[2]) if moves else None,
        told_ms=1e3 * told_here,
        told_per_volt_ms=1e3 * told_slope,
        confirms=bool(agrees),
    )


def _ordered(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    order = np.argsort(x, kind="stable")
    return x[order], y[order]
