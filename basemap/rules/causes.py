"""The cause behind a finding: findings of several rules with one cause are shown as one."""

from __future__ import annotations

UNTOUCHED = "loaded as it is"
"""Cause of whatever holds only for a map that is loaded untouched, or without its settings."""

FUEL = "fuel"
COLD = "cold start"
LAMBDA_TABLE = "lambda-table"
UNKNOWN = "unknown inputs"
UNCERTAIN = "uncertainty"
UNCERTAIN_IDLE = "uncertainty at idle"
OPEN_THROUGHOUT = "injector capacity"
RANGE = "range of the table"
CELLS = "single cells of the donor's table"

_CAUSES = {
    "loaded-as-it-is": UNTOUCHED,
    "half-loaded": UNTOUCHED,
    "injection-mode": UNTOUCHED,
    "fuel-vapour": FUEL,
    "no-cranking-table": COLD,
    "ethanol-cold-start": COLD,
    "unknown-inputs": UNKNOWN,
    "uncertainty-at-load": UNCERTAIN,
    "duty": OPEN_THROUGHOUT,
    "stored-table": RANGE,
    "setting-limits": RANGE,
    "implied-ve-wide-open": "whose map it is",
    "implied-ve-part-load": "whose map it is",
    "implied-power": "whose map it is",
    "slip-at-load": CELLS,
    "table-health": CELLS,
    "intended-mixture-at-load": "intended mixture",
    "boosted-donor-atmospheric-target": "intended mixture",
    "no-pulse": "short pulses",
    "short-pulse": "short pulses",
    "minimum-pulse": "short pulses",
    "battery-outside-dead-time-data": "battery",
    "battery-not-followed": "battery",
    "battery-multiplied": "battery",
    "outside-donor-data": "end of the donor's data",
    "load-beyond-donor": "end of the donor's data",
    "speed-beyond-donor": "end of the donor's data",
    "fixed-rail-under-boost": "fixed rail",
    "estimated-pressure": "fixed rail",
}


def cause_of(rule: str) -> str:
    """The cause of a rule's findings unless a finding names its own: the rule's name if no other rule shares it.

    >>> cause_of("half-loaded"), cause_of("rail-pressure")
    ('loaded as it is', 'rail-pressure')
    """
    return _CAUSES.get(rule, rule)
