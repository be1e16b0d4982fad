"""How alike two engines breathe: what they share, and which estimate a job asks for."""

from __future__ import annotations

from enum import StrEnum


class Likeness(StrEnum):
    """What the target's engine shares with the donor's."""

    SAME_ENGINE = "same engine"
    SAME_HEAD = "same head and cams"
    ANOTHER_ENGINE = "another engine"


class Breathing(StrEnum):
    """How the target is taken to breathe."""

    SAME = "same"
    INLET_MACH = "inlet mach"
    RESIDUAL_GAS = "residual gas"
