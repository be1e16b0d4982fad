"""``[log]`` and ``[learnt]``: what the columns of a log are, and what drives have taught so far."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from basemap.errors import InputError
from basemap.logs.stated_columns import stated
from basemap.model.drive import COLUMNS, Chunks, DriveLog
from basemap.model.installation import FloatArray
from basemap.model.job import Job

LOG_KEYS = ("columns", "probe_proved")
LEARNT_KEYS = ("probe_proved", "crossed", "loaded", "begun_with", "logs")
_LEARNT_LOG_KEYS = ("file", "sha256", "key_on_pa", "commanded", "chunks")
_WITHIN = {
    "at_s": (0.0, 1e7),
    "for_s": (0.1, 10.0),
    "rpm": (100.0, 30_000.0),
    "pressure_pa": (1e3, 1e6),
    "charge_k": (200.0, 450.0),
    "battery_v": (3.0, 40.0),
    "pulse_s": (1e-5, 1.0),
    "log_lambda": (-1.0, 1.0),
    "variance": (1e-6, 1.0),
    "log_formula": (-1.0, 1.0),
}
"""Lowest and highest values of a steady stretch; those that `basemap learn` writes lie well within them."""
_BAROMETERS_PA = (3e4, 1.3e5)
_MOST = 1e6
"""Larger than a cell of any fuel table in any unit."""
MADE_BY_LEARN = 'must be as "basemap learn" wrote it: do not change it by hand'
APART = 0.1
"""How far apart in λ two points must lie to prove the scale of a probe."""


def with_drives(job: Job, log: Mapping[str, Any] | None, learnt: Mapping[str, Any] | None, file: str) -> Job:
    """The job with what both sections say.

    Raises
    ------
    InputError
        If an entry cannot be used.
    """
    log, learnt = log or {}, learnt or {}
    _refuse_unknown(log, LOG_KEYS, "log", file)
    _refuse_unknown(learnt, LEARNT_KEYS, "learnt", file)
    return replace(
        job,
        log_columns=stated(log.get("columns", {}), file, "log.columns"),
        probe_proved=any(
            proved_at(section["probe_proved"], file, f"{name}.probe_proved")
            for name, section in (("log", log), ("learnt", learnt))
            if "probe_proved" in section
        ),
        drives=tuple(_drive(entry, index, file) for index, entry in enumerate(_list(learnt.get("logs", []), file))),
        loaded=_cells(learnt, "loaded", job.target.table.values.shape, file),
        begun_with=_cells(learnt, "begun_with", job.target.table.values.shape, file),
        crossed=_crossed(learnt.get("crossed", []), file),
    )


def proved_at(points: object, file: str | None, place: str) -> bool:
    """Whether two points prove the scale of a probe: apart from each other, and within its range.

    Raises
    ------
    InputError
        If the points do not prove it.
    """
    known = [point for point in points if _is_number(point)] if isinstance(points, Sequence) else []
    within = [float(point) for point in known if 0.6 <= float(point) <= 1.6]
    if len(within) < 2 or max(within) - min(within) < APART:
        raise InputError(
            "expected two values of lambda where the probe reads correctly, at least 0.1 apart, such as 0.80 and 1.00",
            file=file,
            place=place,
        )
    return True


def _drive(entry: Any, index: int, file: str) -> DriveLog:
    place = f"learnt.logs[{index}]"
    if not isinstance(entry, Mapping):
        raise InputError(MADE_BY_LEARN, file=file, place=place)
    _refuse_unknown(entry, _LEARNT_LOG_KEYS, place, file)
    key_on, rows = entry.get("key_on_pa"), entry.get("chunks")
    text = isinstance(entry.get("file"), str) and isinstance(entry.get("sha256"), str)
    numbers = (
        isinstance(rows, list)
        and len(rows) > 0
        and all(isinstance(row, list) and len(row) == len(COLUMNS) and all(map(_is_number, row)) for row in rows)
    )
    low, high = _BAROMETERS_PA
    if not text or not numbers or not (key_on is None or (_is_number(key_on) and low <= key_on <= high)):
        raise InputError(MADE_BY_LEARN, file=file, place=place)
    values = np.array(rows, dtype=np.float64)
    lowest, highest = np.array([_WITHIN[name] for name in COLUMNS]).T
    within = (values >= lowest) & (values <= highest)
    within[:, -1] |= np.isnan(values[:, -1])  # no pulse was logged
    if not within.all():
        raise InputError(MADE_BY_LEARN, file=file, place=f"{place}.chunks")
    made = Chunks.of_rows(values)
    return DriveLog(
        entry["file"], entry["sha256"], made, None if key_on is None else float(key_on), entry.get("commanded") is True
    )


def _cells(learnt: Mapping[str, Any], key: str, shape: tuple[int, ...], file: str) -> FloatArray | None:
    rows = learnt.get(key)
    if rows is None:
        return None
    try:
        found = np.array(rows, dtype=np.float64)
    except (TypeError, ValueError):
        found = np.zeros(0)
    if found.shape != shape or not ((found >= 0.0) & (found <= _MOST)).all():
        raise InputError(
            f"expected {shape[0]} rows of {shape[1]} numbers, a table as the controller holds it", file=file,
            place=f"learnt.{key}",
        )  # fmt: skip
    return found


def _list(logs: Any, file: str) -> list[Any]:
    if not isinstance(logs, list):
        raise InputError(MADE_BY_LEARN, file=file, place="learnt.logs")
    return logs


def _crossed(names: Any, file: str) -> tuple[str, ...]:
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise InputError(MADE_BY_LEARN, file=file, place="learnt.crossed")
    return tuple(names)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and not math.isinf(value)


def _refuse_unknown(section: Mapping[str, Any], known: Sequence[str], place: str, file: str) -> None:
    for key in section:
        if key not in known:
            raise InputError(f"unknown key: expected {', '.join(known)}", file=file, place=f"{place}.{key}")
