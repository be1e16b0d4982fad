"""What every output says against a map: its stops, those that the user accepted, and its limits."""

from __future__ import annotations

from typing import Any

from basemap.model.result import Result


def stops(result: Result) -> tuple[str, ...]:
    """The rules that stop the map, the most dangerous first."""
    return tuple(dict.fromkeys(stop.rule for stop in result.stops))


def conditions(result: Result) -> list[str]:
    """The conditions of the answer, a line each: limits, and stops that the user accepted against advice."""
    return [
        *(f"Limit: {limit}" for limit in result.limits),
        *(f"Accepted by you, against advice: {rule}" for rule in result.accepted),
    ]


def as_json(result: Result) -> dict[str, Any]:
    """Verdict and stops as JSON, to stand beside a part of a result."""
    return {"verdict": result.verdict.value, "stops": list(stops(result)), "accepted": list(result.accepted)}
