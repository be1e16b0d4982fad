"""What two engines share, which says how alike they breathe."""

from __future__ import annotations

from enum import StrEnum


class Likeness(StrEnum):
    """What the target's engine shares with the donor's."""

    SAME_ENGINE = "same engine"
    SAME_HEAD = "same head and cams"
    ANOTHER_ENGINE = "another engine"
