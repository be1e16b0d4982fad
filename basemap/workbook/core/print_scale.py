"""The scale at which a sheet is printed whose page breaks have to be honoured."""

from __future__ import annotations


def scale_percent(page_in: float, width_px: float) -> int:
    """The print scale at which columns fill a page, at most life-size; programs draw them up to 6 % wider than told.

    >>> scale_percent(7.47, 704.0), scale_percent(7.47, 500.0)
    (96, 100)
    """
    return min(100, max(10, int(100.0 * 96.0 * page_in / (1.06 * width_px))))
