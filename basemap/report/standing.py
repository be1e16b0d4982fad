"""What stands against a map, said in every output: its stops, those that the user accepted, and its limits."""

from __future__ import annotations

from typing import Any

from basemap.model.result import Result


def stops(result: Result) -> tuple[str, ...]:
    """Rules whose stop stands, the most dangerous first."""
    return tuple(dict.fromkeys(stop.rule for stop in result.stops))


def conditions(result: Result) -> list[str]:
    """What the answer depends on, one line each: limits, and what the user accepted against advice."""
    return [
        *(f"Limit: {limit}" for limit in result.limits),
        *(f"Accepted by you, against advice: {rule}" for rule in result.accepted),
    ]


def as_json(result: Result) -> dict[str, Any]:
    """The same for other programs, beside a part of a result."""
    return {"verdict": result.verdict.value, "stops": list(stops(result)), "accepted": list(result.accepted)}
