"""Which column of a log holds which channel: as the user says, else by its header, its unit and its range."""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from basemap.errors import InputError
from basemap.logs.channels import CHANNELS, NEEDED, OTHERS, Channel, Size, plain_unit, reference_in
from basemap.logs.text import LogText, is_clock, is_number
from basemap.model.drive import LogColumn
from basemap.model.installation import FloatArray

_MIXTURES = ("lambda", "air_fuel_ratio")
_TOLD_BY_UNIT = ("rpm", "manifold_pressure", "battery", "pulse")
_DEEPEST_VACUUM_INHG = 27.0
"""Deepest vacuum that a manifold reaches: it would leave 10 kPa (common practice, no source)."""

_SPREAD = 0.98
"""Share of a column's values that must lie in a channel's range before it is taken for that channel."""


@dataclass(frozen=True)
class Chosen:
    """One channel's column and the unit of its numbers.

    Parameters
    ----------
    size
        Size of the unit: SI = factor · value + offset.
    proposed
        Whether the program found it, rather than the user naming it.
    basis
        For an air/fuel ratio: the ratio that its scale shows at λ = 1.
    dead_time_included
        For a pulse: whether it includes the dead time; `None` if the user does not say.
    refers
        What a manifold pressure counts from: absolute, gauge or vacuum.
    """

    channel: Channel
    index: int
    unit: str
    size: Size
    proposed: bool
    basis: float | None = None
    dead_time_included: bool | None = None
    refers: str = "absolute"

    def stated(self, header: str) -> LogColumn:
        """The same as an entry of ``[log.columns]``."""
        return LogColumn(header, self.unit or None, self.basis, self.dead_time_included)


def choose(sheet: LogText, stated_columns: Mapping[str, LogColumn]) -> dict[str, Chosen]:
    """Find the column of every channel that the log has.

    Raises
    ------
    InputError
        If a named column is missing, a unit is unclear or cannot be true, or a channel that every log must have is not
        found.
    """
    found = {name: _named(sheet, CHANNELS[name], entry) for name, entry in stated_columns.items()}
    taken = {chosen.index for chosen in found.values()}
    for propose in (_by_header, _by_unit_and_range):
        for name, channel in CHANNELS.items():
            if name in found or (name in _MIXTURES and any(mixture in found for mixture in _MIXTURES)):
                continue
            index = propose(sheet, channel, taken)
            if index is not None:
                found[name] = _with_unit(sheet, channel, index)
                taken.add(index)
    _refuse_another_unit(sheet, found)
    _refuse_missing(sheet, found)
    return found


def _named(sheet: LogText, channel: Channel, entry: LogColumn) -> Chosen:
    wanted = entry.column.strip()
    matches = [index for index, header in enumerate(sheet.headers) if wanted in (header, sheet.written[index])]
    if not matches:
        near = difflib.get_close_matches(wanted, [header for header in sheet.headers if header], 1)
        # A learnt job remembers the columns of the log before, which another logger calls otherwise.
        has = f'the nearest is "{near[0]}"' if near else f"it has {', '.join(filter(None, sheet.written[:12]))}"
        mend = "correct [log.columns], or say what this log's columns are in a file for --columns"
        raise InputError(f'has no column "{wanted}" for {channel.words}; {has}: {mend}', file=sheet.file)
    if len(matches) > 1:
        raise InputError(f'has {len(matches)} columns "{wanted}": rename all but one', file=sheet.file)
    chosen = _with_unit(sheet, channel, matches[0], entry.unit)
    return replace(chosen, proposed=False, basis=entry.basis, dead_time_included=entry.dead_time_included)


def _with_unit(sheet: LogText, channel: Channel, index: int, unit: str | None = None) -> Chosen:
    """The column with its unit: as stated, else as the file names it, else as its values show, else the usual one."""
    named = unit if unit is not None else sheet.units[index]
    if channel.name == "time":
        named = named if channel.size(named) else _unit_of_time(sheet, index)
    elif not named and channel.size("") is None:
        named = _unit_by_range(sheet, channel, index)
    size = channel.size(named)
    if size is None:
        known = ", ".join(one for one in channel.units if one not in ("", "-"))
        said = f'gives {channel.words} in "{named}"' if named else f"gives {channel.words} without its unit"
        raise InputError(
            f"{sheet.named(index)} {said}: give it in [log.columns], {channel.name} = {{ column = "
            f'"{sheet.headers[index]}", unit = "…" }}, one of {known}',
            file=sheet.file,
        )
    refers = _reference(sheet, channel, index, named) if channel.name == "manifold_pressure" else "absolute"
    return Chosen(channel, index, named, size, True, refers=refers)


def _reference(sheet: LogText, channel: Channel, index: int, unit: str) -> str:
    """What a manifold pressure counts from; refused if nothing shows it."""
    values = sheet.numbers[index]
    values = values[np.isfinite(values)]
    found = _counts_from(unit, values)
    if found != "absolute" or reference_in(unit) is not None or not values.size:
        return found
    low, top = np.quantile(values, (0.01, 0.995))
    # Inches of mercury may be absolute or vacuum; wide open or at key on, an absolute pressure shows the barometer.
    if plain_unit(unit) == "inhg" and top < _DEEPEST_VACUUM_INHG:
        raise InputError(
            f"{sheet.named(index)} reads {low:.3g} to {top:.3g} inHg: say in [log.columns] what that is measured "
            f'from, {channel.name} = {{ column = "{sheet.headers[index]}", unit = "inHg absolute" }}, or "inHg '
            'vacuum"',
            file=sheet.file,
        )
    return found


def _counts_from(unit: str, values: FloatArray) -> str:
    """What a pressure counts from, by its unit or else by its values: no absolute pressure is below 0."""
    below = values.size > 0 and np.quantile(values, 0.01) < 0.0
    return reference_in(unit) or ("gauge" if below else "absolute")


def _unit_of_time(sheet: LogText, index: int) -> str:
    """The unit of a column of times: h:m:s if written so, else s or ms by its step, at 4 to 100 rows a second."""
    cells = [cell for cell in sheet.columns[index][:400] if cell]
    if any(is_clock(cell) for cell in cells):
        return "h:m:s"
    values = sheet.numbers[index]
    steps = np.diff(values[np.isfinite(values)][:2000])
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    return "ms" if step > 2.0 else "s"


def _unit_by_range(sheet: LogText, channel: Channel, index: int) -> str:
    """The usual unit, else the only one in which the values are plausible, else none."""
    values = sheet.numbers[index]
    values = values[np.isfinite(values)]
    if channel.usual is not None:
        return channel.usual
    if channel.name == "manifold_pressure" and values.size:
        # Wide open, the pressure is near the barometer, whatever the unit.
        top = float(np.quantile(values, 0.995))
        for unit, low, high in (("bar", 0.6, 4.0), ("psi", 9.0, 45.0), ("kPa", 60.0, 400.0), ("mbar", 600.0, 4000.0)):
            if low <= top <= high:
                return unit
    if channel.name == "pulse" and values.size:
        top = float(np.quantile(values, 0.9))
        return "ms" if 0.5 < top < 60.0 else "us" if 500.0 < top < 60_000.0 else ""
    if channel.name in ("coolant_temperature", "charge_temperature") and values.size:
        top = float(values.max())
        return "K" if top > 270.0 else "degC" if top < 120.0 else ""
    if channel.name == "trim" and values.size:
        # A factor lies near 1, a percentage near 0.
        return "factor" if 0.5 < float(np.median(values)) < 1.6 else "%" if abs(float(np.median(values))) < 0.5 else ""
    return ""


def _by_header(sheet: LogText, channel: Channel, taken: set[int]) -> int | None:
    """The column whose header names a channel."""
    free = [index for index in range(len(sheet.headers)) if index not in taken]
    by_name = [index for index in free if _means(sheet.headers[index].lower().replace("_", " "), channel)]
    fits = [index for index in by_name if _plausible(sheet, channel, index)]
    if len(fits) <= 1:
        return fits[0] if fits else None
    exact = [index for index in fits if sheet.headers[index].lower() in (channel.words, channel.name)]
    if len(exact) == 1:
        return exact[0]
    if channel.name not in (*NEEDED, *_MIXTURES, "pulse", "trim"):
        return None
    names = " and ".join(sheet.named(index) for index in fits[:2])
    raise InputError(f"{names} may both be {channel.words}: say which one it is in [log.columns]", file=sheet.file)


def _means(header: str, channel: Channel) -> bool:
    others = channel.name != "trim" and re.search(OTHERS, header)
    return not others and re.search(channel.named, header) is not None


def _by_unit_and_range(sheet: LogText, channel: Channel, taken: set[int]) -> int | None:
    """The only column left whose unit and values suit a channel that no header names."""
    free = [index for index in range(len(sheet.headers)) if index not in taken]
    if channel.name == "time":
        return next((index for index in free if _rises(sheet, index)), None)
    if channel.name == "lambda":
        fits = [index for index in free if _looks_like_lambda(sheet.numbers[index])]
    elif channel.name in _TOLD_BY_UNIT:
        fits = [index for index in free if sheet.units[index] and _plausible(sheet, channel, index)]
    else:
        return None
    return fits[0] if len(fits) == 1 else None


def _plausible(sheet: LogText, channel: Channel, index: int) -> bool:
    if channel.name == "time":
        return _rises(sheet, index) or any(is_clock(cell) for cell in sheet.columns[index][:50])
    unit = sheet.units[index]
    known = channel.size(unit) if unit else None
    if unit and known is None:
        return False
    values = sheet.numbers[index]
    values = values[np.isfinite(values)]
    if not values.size:
        return False
    if channel.name == "manifold_pressure" and _counts_from(unit, values) != "absolute":
        return known is not None and bool(np.mean(np.abs(known[0] * values) < channel.high) >= _SPREAD)
    sizes = list(channel.units.values()) if known is None else [known]
    return any(
        np.mean((channel.low <= size[0] * values + size[1]) & (size[0] * values + size[1] <= channel.high)) >= _SPREAD
        for size in sizes
    )


def _rises(sheet: LogText, index: int) -> bool:
    cells = [cell for cell in sheet.columns[index][:400] if cell]
    if not cells or not all(is_number(cell) or is_clock(cell) for cell in cells):
        return False
    values = sheet.numbers[index][:400]
    return bool(is_clock(cells[0]) or np.mean(np.diff(values[np.isfinite(values)]) > 0) > 0.9)


def _looks_like_lambda(values: FloatArray) -> bool:
    values = values[np.isfinite(values)]
    middle = values.size > 50 and 0.7 < float(np.median(values)) < 1.2
    return bool(middle and values.min() > 0.5 and values.max() < 3.0 and np.unique(values).size > 20)


def _refuse_another_unit(sheet: LogText, found: Mapping[str, Chosen]) -> None:
    """Refuse a column that names a channel and its unit but reads what no engine does: another unit, as a rule.

    A pulse as well, which a log may lack: without it nothing shows a log of another map.
    """
    used = {chosen.index for chosen in found.values()}
    for name in (*NEEDED, "pulse"):
        channel = CHANNELS[name]
        named = [
            index
            for index, header in enumerate(sheet.headers)
            if name not in found and index not in used and channel.size(sheet.units[index]) is not None
            and _means(header.lower().replace("_", " "), channel)
        ]  # fmt: skip
        for index in named:
            values = sheet.numbers[index]
            values = values[np.isfinite(values)]
            # A column of nothing but 0 is a sensor that is not there.
            if values.any():
                low, high = np.quantile(values, (1.0 - _SPREAD, _SPREAD))
                raise InputError(
                    f"{sheet.named(index)} reads {low:.5g} to {high:.5g} {sheet.units[index]}, which no "
                    f"{channel.words} does: give its true unit in [log.columns], {name} = {{ column = "
                    f'"{sheet.headers[index]}", unit = "…" }}, or leave the column out',
                    file=sheet.file,
                )


def _refuse_missing(sheet: LogText, found: Mapping[str, Chosen]) -> None:
    if not any(name in found for name in _MIXTURES):
        raise InputError(
            f"has no lambda column{_others(sheet, found)}: log the wideband, or name its column in [log.columns], "
            'lambda = { column = "…" }',
            file=sheet.file,
        )
    ratio = found.get("air_fuel_ratio")
    if "lambda" not in found and ratio is not None and ratio.basis is None:
        raise InputError(
            f"{sheet.named(ratio.index)} is an air/fuel ratio: give the ratio that its scale shows at lambda 1, "
            f'air_fuel_ratio = {{ column = "{sheet.headers[ratio.index]}", basis = 14.7 }} in [log.columns]',
            file=sheet.file,
        )
    missing = [name for name in NEEDED if name not in found]
    if missing:
        log_it = "log it, or name its column" if len(missing) == 1 else "log them, or name their columns"
        raise InputError(
            f"has no {', no '.join(CHANNELS[name].words for name in missing)}{_others(sheet, found)}: {log_it} in "
            f'[log.columns], {missing[0]} = {{ column = "…", unit = "…" }}',
            file=sheet.file,
        )


def _others(sheet: LogText, found: Mapping[str, Chosen]) -> str:
    """The columns that were not recognised: a missing channel may be one of them."""
    used = {chosen.index for chosen in found.values()}
    others = [sheet.written[index] for index in range(len(sheet.headers)) if sheet.headers[index] and index not in used]
    return f" (other columns: {', '.join(others[:8])})" if others else ""
