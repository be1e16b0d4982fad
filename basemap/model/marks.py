"""Marks of cells, such as ``not reachable``."""

from __future__ import annotations

from enum import StrEnum


class Mark(StrEnum):
    """A mark of a cell."""

    NOT_REACHABLE = "not reachable"
    NOT_VISITED = "not visited"
    OUTSIDE = "outside donor data"
    DONOR_ABOVE_LINE = "donor above 85 % duty"
    DONOR_SATURATED = "donor saturated"
    DONOR_NO_FUEL = "donor gives no fuel"
    LAYOUT_DIFFERS = "layout differs"
    NOT_THROTTLED = "not throttled"
    BREATHING_NOT_KNOWN = "breathing not known"
    BREATHING_ESTIMATED = "breathing estimated"
    ABOVE_LINE = "above 85 % duty"
    SATURATED = "injector open throughout"
    NO_PULSE = "no pulse"
    NO_FUEL = "no fuel"
    NO_PRESSURE = "no pressure across the injector"
    MINIMUM_PULSE = "below the minimum pulse"
    SHORT_PULSE = "below the shortest pulse"
    EXTRAPOLATED = "dead time extrapolated"
    DELIVERY_NOT_KNOWN = "delivery not known"
    BELOW_MINIMUM = "below the table's minimum"
    ABOVE_MAXIMUM = "above the table's maximum"
    CALIBRATE = "calibrate on the engine"

    @property
    def in_words(self) -> str:
        """The mark in words; next to the new table, `NO_FUEL` would mislead, for that may deliver fuel."""
        return "no fuel in one of the four outcomes" if self is Mark.NO_FUEL else self.value
