"""How the target stores a table: decimals or a step, and the limits."""

from __future__ import annotations

import numpy as np

from basemap.jobfile.schema import TargetFurtherTable, TargetTable
from basemap.jobfile.side import StatedSide
from basemap.model.storage import grain, limits
from basemap.model.table import Shown, Storage


def build_storage(target: StatedSide, key: str, own: TargetTable | TargetFurtherTable, shown: Shown) -> Storage:
    """What ``[target.tables.NAME]`` says of it, refused where it contradicts itself."""
    storage = Storage(own.decimals, own.minimum, own.maximum, own.step)
    return checked_storage(target, key, storage, shown.decimals, "the cells", shown.unit)


def checked_storage(target: StatedSide, key: str, storage: Storage, decimals: int, of: str, unit: str = "") -> Storage:
    """Refuse what contradicts itself.

    Parameters
    ----------
    decimals
        Where neither decimals nor a step are stated.
    of, unit
        What is stored, in words, and in which unit.
    """
    if storage.decimals is not None and storage.step is not None:
        raise target.error(f"{key}.step", "stands beside decimals: give one of the two")
    lowest, highest = storage.minimum, storage.maximum
    if lowest is not None and highest is not None and lowest >= highest:
        raise target.error(f"{key}.maximum", f"{highest:g} is not above the minimum of {lowest:g}")
    shown = Shown(unit, 1.0, np.empty(0), "", decimals)
    low, high = limits(storage, shown)
    if low is not None and high is not None and low >= high:
        apart = f"{grain(storage, shown):g} {unit}".rstrip()
        raise target.error(
            f"{key}.maximum",
            f"between {lowest:g} and {highest:g} there is no room for two numbers {apart} apart: is it in the unit of "
            f"{of}?",
        )
    return storage
