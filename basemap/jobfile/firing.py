"""Firing order: every cylinder once, in the order in which they fire."""

from __future__ import annotations

import re
from typing import Annotated

from basemap.jobfile.readers import Reader, fail

_SEPARATORS = re.compile(r"\s*[-–,]\s*|\s+")


def firing_order(value: object) -> str:
    """Read a firing order; it begins anywhere, and is kept with the first cylinder in front.

    >>> firing_order("3, 4, 2, 1")
    '1-3-4-2'
    """
    cylinders = _SEPARATORS.split(value.strip()) if isinstance(value, str) else []
    if not cylinders or not all(re.fullmatch("[0-9]{1,2}", one) for one in cylinders):
        fail('must be the cylinder numbers in firing order, such as "1-3-4-2"')
    order = [int(one) for one in cylinders]
    for cylinder in order:
        if order.count(cylinder) > 1:
            fail(f'"{value}" names cylinder {cylinder} twice: each fires once in a cycle')
    if sorted(order) != list(range(1, len(order) + 1)):
        fail(f'"{value}" has {len(order)} cylinders, but not every number from 1 to {len(order)}')
    first = order.index(1)
    return "-".join(str(cylinder) for cylinder in order[first:] + order[:first])


FiringOrder = Annotated[str, Reader(firing_order, takes={"type": "string", "examples": ["1-3-4-2"]})]
