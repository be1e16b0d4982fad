"""How the target stores a table: decimals or a step, and the limits."""

from __future__ import annotations

from basemap.job.schema import TargetCompanion, TargetTable
from basemap.job.side import Side
from basemap.model.storage import grain, limits
from basemap.model.table import Shown, Storage


def build_storage(target: Side, key: str, own: TargetTable | TargetCompanion, shown: Shown) -> Storage:
    """What ``[target.tables.NAME]`` says of it, refused where it contradicts itself."""
    if own.decimals is not None and own.step is not None:
        raise target.error(f"{key}.step", "stands beside decimals: give one of the two")
    if own.minimum is not None and own.maximum is not None and own.minimum >= own.maximum:
        raise target.error(f"{key}.maximum", f"{own.maximum:g} is not above the minimum of {own.minimum:g}")
    storage = Storage(own.decimals, own.minimum, own.maximum, own.step)
    low, high = limits(storage, shown)
    if low is not None and high is not None and low >= high:
        raise target.error(
            f"{key}.maximum",
            f"between {own.minimum:g} and {own.maximum:g} there is no room for two numbers {grain(storage, shown):g} "
            f"{shown.unit} apart: is it in the unit of the cells?",
        )
    return storage
