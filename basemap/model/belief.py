"""The belief about how the target breathes, in every cell."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from basemap.model.evidence import Observation
from basemap.model.installation import BoolArray, FloatArray


@dataclass(frozen=True)
class BreathingBelief:
    """Belief in ln(η_target / η_donor) at similar points; arrays of shape (loads, speeds).

    Behind a throttle whose ECU measures no pressure, in what that makes of the air of a cell.

    Parameters
    ----------
    expected
        What physics says of it before anything was observed: residual gas, inlet Mach index; NaN where it says that
        the cell draws nothing.
    mean, standard
        With what was observed; NaN where the cell's pressure is not known.
    by_physics, by_evidence
        The part of each that the new cells hold: of what physics expects, and of what was observed.
    evidence
        What was observed.
    surprise
        How many standard deviations below what was believed the lowest of it lies; negative, or 0.
    """

    expected: FloatArray
    mean: FloatArray
    standard: FloatArray
    by_physics: FloatArray
    by_evidence: FloatArray
    evidence: tuple[Observation, ...] = ()
    surprise: float = 0.0

    @classmethod
    def unmoved(cls, shape: tuple[int, ...]) -> BreathingBelief:
        """The belief of cells that are not changed by it, with no uncertainty."""
        nothing = np.zeros(shape)
        return cls(nothing, nothing, nothing, nothing, nothing)

    @property
    def applied(self) -> FloatArray:
        """What the new cells hold of it, together."""
        return self.by_physics + self.by_evidence

    @property
    def factor(self) -> FloatArray | None:
        """Factor on the air of every cell, exp(applied); `None` if it is 1 everywhere."""
        return None if (self.applied == 0.0).all() else np.asarray(np.exp(self.applied))

    @property
    def lambda_expected(self) -> FloatArray:
        """λ that is expected over the arithmetic one: exp(mean − applied); 1 where the pressure is not known."""
        left = np.where(np.isfinite(self.mean), self.mean - self.applied, 0.0)
        return np.asarray(np.exp(left))

    def rows(self, rows: BoolArray) -> BreathingBelief:
        """Of some rows of the table."""
        return replace(
            self,
            expected=self.expected[rows],
            mean=self.mean[rows],
            standard=self.standard[rows],
            by_physics=self.by_physics[rows],
            by_evidence=self.by_evidence[rows],
        )
