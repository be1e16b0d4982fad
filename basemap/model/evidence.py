"""Evidence of how the target breathes, in words and numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Observation:
    """One observation of ln(η_target / η_donor).

    Parameters
    ----------
    name, keys
        In words, and the job-file keys that it comes from.
    rpm, pressure_over_barometer
        Where it was made, on the target.
    value, standard
        ln of the ratio, and its standard uncertainty.
    source
        How it was worked out, in words.
    beyond_donor
        Whether it was read beyond the donor's table: its standard uncertainty is then larger.
    """

    name: str
    keys: tuple[str, ...]
    rpm: float
    pressure_over_barometer: float
    value: float
    standard: float
    source: str
    beyond_donor: bool = False
