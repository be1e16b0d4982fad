"""A log as numbers in SI on one time axis."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from basemap.errors import InputError
from basemap.logs.columns import Chosen, choose
from basemap.logs.text import LogText, read_sheet, to_numbers
from basemap.model.drive import LogColumn
from basemap.model.installation import BoolArray, FloatArray

SLOWEST_HZ, FASTEST_HZ = 3.5, 110.0
DAY_S = 86_400.0
_BACKWARDS_S = 1e-6


@dataclass(frozen=True)
class Log:
    """A log of a drive: every channel of shape (moments,), in SI units; NaN where a value is unknown.

    Parameters
    ----------
    file, sha256
        The file it was read from, and the hash of its bytes.
    time_s
        Time of every moment, rising from 0.
    lambda_read
        λ as the probe reads it, late by its delay.
    pulse_s, trim, throttle, fuel_pressure_pa
        `None` if the log has no such column; the trim is a factor on the fuel.
    pulse_includes_dead_time
        As the user says; `None` if the log itself has to show it.
    read_as
        In words: the column of every channel that the user did not name, and how many lines were left out.
    chosen
        The column of every channel, as in ``[log.columns]``.
    """

    file: str
    sha256: str
    time_s: FloatArray
    rpm: FloatArray
    manifold_pa: FloatArray
    lambda_read: FloatArray
    battery_v: FloatArray
    coolant_k: FloatArray
    charge_k: FloatArray
    pulse_s: FloatArray | None
    trim: FloatArray | None
    throttle: FloatArray | None
    fuel_pressure_pa: FloatArray | None
    pulse_includes_dead_time: bool | None
    read_as: tuple[str, ...]
    chosen: Mapping[str, LogColumn]

    @property
    def step_s(self) -> float:
        """Median time between two moments, s."""
        return float(np.median(np.diff(self.time_s)))

    @property
    def running(self) -> BoolArray:
        """Where the engine runs without the starter."""
        return self.rpm > 450.0


def read_log(path: Path, stated: Mapping[str, LogColumn], *, barometer_pa: float) -> Log:
    """Read a log.

    Parameters
    ----------
    stated
        Columns that the user names, by channel.
    barometer_pa
        Barometric pressure, to make gauge and vacuum pressures absolute.

    Raises
    ------
    InputError
        If the file cannot be used as a log; the message says what to do.
    """
    sheet = read_sheet(path)
    columns = choose(sheet, stated)
    time = _time(sheet, columns["time"])
    keep = _rising(sheet, time)
    time = time[keep]
    _refuse_rate(sheet, time)
    thin = _thinned(time)
    time = time[thin] - time[0]

    def channel(name: str) -> FloatArray | None:
        if name not in columns:
            return None
        chosen = columns[name]
        values = sheet.numbers[chosen.index][keep][thin]
        return _filled(time, _in_si(values, chosen, barometer_pa), chosen.channel.gap_s)

    def needed(name: str) -> FloatArray:
        values = channel(name)
        assert values is not None
        return values

    mixture = needed("lambda") if "lambda" in columns else needed("air_fuel_ratio")
    pulse = columns.get("pulse")
    proposed = sorted((one for one in columns.values() if one.proposed), key=lambda one: one.index)
    return Log(
        file=sheet.file,
        sha256=sheet.sha256,
        time_s=time,
        rpm=needed("rpm"),
        manifold_pa=needed("manifold_pressure"),
        lambda_read=mixture,
        battery_v=needed("battery"),
        coolant_k=needed("coolant_temperature"),
        charge_k=needed("charge_temperature"),
        pulse_s=channel("pulse"),
        trim=channel("trim"),
        throttle=channel("throttle"),
        fuel_pressure_pa=channel("fuel_pressure"),
        pulse_includes_dead_time=None if pulse is None else pulse.dead_time_included,
        read_as=(*(_in_words(sheet, chosen) for chosen in proposed), *_left_out(sheet)),
        chosen={name: one.stated(sheet.headers[one.index]) for name, one in columns.items()},
    )


def _left_out(sheet: LogText) -> list[str]:
    """A sentence about the lines that could not be read, if there are any."""
    if not sheet.left_out:
        return []
    lines, were = ("1 line has", "was") if sheet.left_out == 1 else (f"{sheet.left_out} lines have", "were")
    return [f"{lines} more cells than there are columns and {were} left out"]


def _time(sheet: LogText, chosen: Chosen) -> FloatArray:
    cells = sheet.columns[chosen.index]
    if chosen.unit.strip().lower() != "h:m:s":
        return chosen.size[0] * sheet.numbers[chosen.index]
    parts = [cell.replace(",", ".").split(":") for cell in cells]
    depth = max((len(part) for part in parts if part != [""]), default=1)
    total = np.zeros(len(cells))
    for place in range(depth):
        numbers = [part[place - depth + len(part)] if place - depth + len(part) >= 0 else "0" for part in parts]
        total = 60.0 * total + to_numbers(numbers, ".")
    # At midnight the clock starts again from 0.
    falls = np.diff(total, prepend=total[0]) < -0.5 * DAY_S
    return np.asarray(total + DAY_S * np.cumsum(falls))


def _rising(sheet: LogText, time: FloatArray) -> BoolArray:
    """Rows whose time is later than that of the row before; a time that runs backwards is refused."""
    known = np.isfinite(time)
    if known.sum() < 10:
        raise InputError("has fewer than 10 rows with a time: expected a log of a drive", file=sheet.file)
    rows = np.flatnonzero(known)
    steps = np.diff(time[rows])
    back = np.flatnonzero(steps < -_BACKWARDS_S)
    if back.size:
        row = int(rows[back[0] + 1])
        raise InputError(
            f"line {sheet.first_line + row}: the time runs backwards, from {time[rows[back[0]]]:.3f} s to "
            f"{time[row]:.3f} s; export each drive as a separate log",
            file=sheet.file,
        )
    keep = np.zeros(time.shape, dtype=bool)
    keep[rows] = np.concatenate([[True], steps > _BACKWARDS_S])
    return keep


def _refuse_rate(sheet: LogText, time: FloatArray) -> None:
    rate = 1.0 / float(np.median(np.diff(time)))
    if rate < SLOWEST_HZ:
        raise InputError(
            f"has {rate:.1f} rows a second: expected 4 to 100; set the logger faster, with fewer channels if necessary",
            file=sheet.file,
        )


def _thinned(time: FloatArray) -> slice:
    """Every n-th row, for a log that is faster than the mixture can change."""
    rate = 1.0 / float(np.median(np.diff(time)))
    return slice(None, None, max(1, int(np.ceil(rate / FASTEST_HZ))))


def _in_si(values: FloatArray, chosen: Chosen, barometer_pa: float) -> FloatArray:
    if chosen.basis is not None:
        return values / chosen.basis
    found = chosen.size[0] * values + chosen.size[1]
    if chosen.channel.name == "manifold_pressure":
        found = {"absolute": found, "gauge": barometer_pa + found, "vacuum": barometer_pa - found}[chosen.refers]
    return np.asarray(np.where((found >= chosen.channel.low) & (found <= chosen.channel.high), found, np.nan))


def _filled(time: FloatArray, values: FloatArray, gap_s: float) -> FloatArray:
    """The values with gaps of up to `gap_s` filled by linear interpolation."""
    known = np.isfinite(values)
    if known.all() or known.sum() < 2:
        return values
    at = time[known]
    filled = np.interp(time, at, values[known], left=np.nan, right=np.nan)
    after = np.searchsorted(at, time, side="left").clip(0, at.size - 1)
    before = (np.searchsorted(at, time, side="right") - 1).clip(0, at.size - 1)
    near_ends = ((time < at[0]) & (at[0] - time <= gap_s)) | ((time > at[-1]) & (time - at[-1] <= gap_s))
    filled = np.where(near_ends, np.where(time < at[0], values[known][0], values[known][-1]), filled)
    return np.where((at[after] - at[before] <= gap_s) | known | near_ends, filled, np.nan)


def _in_words(sheet: LogText, chosen: Chosen) -> str:
    """A column in words, such as ``4 lambda, 0.68 to 1.36``."""
    values = sheet.numbers[chosen.index]
    known = values[np.isfinite(values)]
    unit = f" {chosen.unit}" if chosen.unit not in ("", "-") else ""
    seen = f", {known.min():.4g} to {known.max():.4g}{unit}" if known.size else ""
    return f"{chosen.index + 1} {chosen.channel.words}{seen}"
