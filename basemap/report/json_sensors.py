"""Sensors as JSON: scales, errors, and the table to enter."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from basemap.adaptation.sensors import LISTED
from basemap.model.sensor import SensorComparison, SensorResult, SensorScale
from basemap.report.json_text import plain


def sensor_as_json(sensor: SensorResult) -> dict[str, Any]:
    """A sensor: both scales, the error over the range and the table to enter, in the unit of the map's scale."""
    left = sensor.left_between
    return {
        "name": sensor.name,
        "kind": sensor.kind.value,
        "unit": sensor.shown.unit,
        "held": _scale(sensor, sensor.held),
        "fitted": _scale(sensor, sensor.fitted),
        "judged_between": sorted(plain(sensor.shown.of(np.array(sensor.judged_between)))),
        "as_loaded": _comparison(sensor, sensor.as_loaded),
        "table_to_enter": [asdict(point) for point in sensor.points],
        "entered": _comparison(sensor, sensor.entered),
        "largest_error_between_points": None if left is None else _error_at(sensor, sensor.entered, left),
        "cannot_be_entered": sensor.stuck,
    }


def _scale(sensor: SensorResult, scale: SensorScale | None) -> dict[str, Any] | None:
    if scale is None:
        return None
    return {"volts": plain(scale.volts), "value": plain(sensor.shown.of(scale.values))}


def _comparison(sensor: SensorResult, found: SensorComparison | None) -> dict[str, Any] | None:
    if found is None:
        return None
    rows, shown = found.spread_out(LISTED), sensor.shown
    worst = found.largest(found.judged)
    ratio = None if found.lambda_ratio is None else plain(found.lambda_ratio[rows])
    return {
        "volts": plain(found.volts[rows]),
        "true": plain(shown.of(found.true[rows])),
        "read": plain(shown.of(found.read[rows])),
        "error": plain(shown.difference(found.error[rows])),
        "lambda_ratio": ratio,
        "largest_error_judged": None if worst is None else _error_at(sensor, found, worst),
    }


def _error_at(sensor: SensorResult, found: SensorComparison | None, index: int) -> dict[str, Any]:
    assert found is not None
    shown = sensor.shown
    return {
        "volts": float(found.volts[index]),
        "true": float(shown.of(found.true[index])),
        "read": float(shown.of(found.read[index])),
        "error": float(shown.difference(found.error[index])),
    }
