"""JSON as text: numbers, date, lines."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime
from typing import Any

import numpy as np

from basemap.model.installation import FloatArray
from basemap.report.words import escaped

SCHEMA = "basemap/2"
"""Its number rises when a key is renamed or removed; an added key leaves it."""


def to_text(content: dict[str, Any]) -> str:
    """JSON as text, one table row a line, ending with a line feed."""
    # A file name may hold characters that cannot be encoded or that a terminal would obey: JSON has escapes for them.
    return escaped(_laid_out(content, "") + "\n")


def today() -> str:
    """The date in UTC, ISO 8601."""
    return datetime.now(UTC).date().isoformat()


def plain(values: FloatArray) -> list[Any]:
    """An array of any shape as nested lists, `None` for what is not finite.

    >>> plain(np.array([[1.0, np.nan], [np.inf, 0.5]]))
    [[1.0, None], [None, 0.5]]
    """
    array = np.asarray(values, dtype=np.float64)
    found = array.astype(object)
    found[~np.isfinite(array)] = None
    return list(found.tolist())


def finite(value: float | None) -> float | None:
    """A number, or `None` where it is not finite: JSON has no infinity."""
    return value if value is not None and math.isfinite(value) else None


def _laid_out(value: Any, indent: str) -> str:
    """Indented JSON; a list without lists or objects in it stays on one line."""
    inner = indent + "  "
    if isinstance(value, dict) and value:
        lines = [f"{inner}{_dumped(key)}: {_laid_out(item, inner)}" for key, item in value.items()]
        return "{\n" + ",\n".join(lines) + f"\n{indent}}}"
    if isinstance(value, list) and any(map(_is_nested, value)):
        return "[\n" + ",\n".join(inner + _laid_out(item, inner) for item in value) + f"\n{indent}]"
    return _dumped(value)


def _is_nested(value: Any) -> bool:
    """Whether an item of a list needs lines of its own; the marks of a cell, a few words, do not."""
    return isinstance(value, dict) or (isinstance(value, list) and not all(isinstance(item, str) for item in value))


_ENCODER = json.JSONEncoder(ensure_ascii=False, allow_nan=False)
"""Made once, because `json.dumps` would make one for each of several thousand values."""


def _dumped(value: Any) -> str:
    # `json` writes a lone number as its repr too, but takes three times as long.
    return repr(value) if type(value) is float and math.isfinite(value) else _ENCODER.encode(value)
