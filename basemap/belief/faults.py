"""Which fault explains a drive: how much better it is predicted with a fault of some size than with none.

With r the residuals of the observations, V their covariance and e what a fault does to them, the fault predicts them

    exp(eᵀ·V⁻¹·r − ½·eᵀ·V⁻¹·e)

times as well as no fault does: the ratio of two Gaussian densities. Nobody knows how large a fault is, so this is
averaged over its possible sizes; a deviation too small to be a fault does not count as one.

The comparison is overconfident, because no engine breathes quite as the field says. So it is never given as a
probability: faults are ranked in words, with the faults that look like them and the test that tells them apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from basemap.belief.hypotheses import FUEL_SUPPLY, LEAK, OVER_SPEED, Hypothesis, hypotheses
from basemap.belief.posterior import Observed
from basemap.belief.update import Observations, Update, about
from basemap.model.drive import DrivePoints
from basemap.model.installation import FloatArray
from basemap.model.learnt import Fault

MOST_ROWS = 300
EXPECTED = "within what was expected"
CLEAR, LIKELY, SLIGHT = 10.0, 5.0, 2.0
"""ln of how many times better a fault must predict the drive than no fault does, for each of the words used."""
NEAR = 3.0
"""Faults whose weight is within this of the first one's cannot be told from it by this log."""

_WORDS = {
    "dead time": "the injectors' dead time is not the stated one",
    "dead time over voltage": "the dead time changes with voltage differently than stated",
    "common factor": "flow, rail pressure, stoichiometric ratio or breathing off by one factor everywhere; "
    "a log cannot tell these apart",
    OVER_SPEED: "the target breathes differently from the donor over engine speed; where nobody drove, the band is "
    "wider by it",
    "breathing over load": "the target breathes differently from the donor over load",
    "regulator": "the fuel-pressure regulator is of the other kind, or its hose is off",
    FUEL_SUPPLY: "the fuel supply cannot keep up at high flow",
    "barometer": "the air pressure of the drive was not the job's barometer: another height, or other weather",
    "pressure sensor": "the manifold pressure sensor is off by some kPa",
    LEAK: "air gets into the exhaust before the probe; suspected only: it would excuse lean readings, so nothing is "
    "corrected for it, and the band is wider by it",
}
_TESTS = {
    "dead time": "at idle, change the dead time by 0.1 ms: the mixture moves most where the pulse is shortest",
    "dead time over voltage": "at idle, switch on one volt of electrical load and watch lambda",
    "common factor": "fuel pressure by gauge, then flow and fuel",
    OVER_SPEED: "a slow full-load sweep on a dynamometer",
    "breathing over load": "two loads at one speed, held for some seconds each",
    "regulator": "fuel-pressure gauge at idle and with the hose off",
    FUEL_SUPPLY: "fuel-pressure gauge at full load, on a dynamometer",
    "barometer": "read a barometer beside the engine, key on: the manifold pressure must agree with that",
    "pressure sensor": "key on, engine off: it must read the barometer",
    LEAK: "free-rev to 2500 rpm: a leak fades with flow, a dead time does not fade so fast",
}


@dataclass(frozen=True)
class RankedFaults:
    """The faults, the most likely first, and what follows from them.

    Parameters
    ----------
    supply_gives_in
        Whether the drive looks most like a fuel supply that cannot keep up: that must be mended, not mapped around.
    leak
        Share of air that leaks in before the probe at the flow of idle, if a leak is suspected, else 0.
    over_speed
        How likely each case of `hypotheses.over_speed` is, if such breathing is suspected: shares of 1, shape
        (sizes,). Else empty.
    """

    faults: tuple[Fault, ...]
    supply_gives_in: bool
    leak: float
    over_speed: FloatArray

    @property
    def holds(self) -> dict[str, str]:
        """Why no table may be loaded: it cannot know how far the supply falls short at a flow that was not driven."""
        if not self.supply_gives_in:
            return {}
        return {
            "fuel-supply": "the mixture gets leaner at high flow, as if the fuel supply could not keep up: STOP, no "
            "load until a gauge shows that the fuel pressure holds there; if it falls, mend it (pump, filter, wiring, "
            "regulator), do not map around it: above the flow that was driven neither the new cells nor their band hold"
        }


def rank(found: Update) -> RankedFaults:
    """All hypotheses, the most likely first; `EXPECTED` is one of them, with weight 0."""
    observations = _thinned(found)
    linear = about(found.prior, observations, found.amounts)
    observed = Observed.of(linear.residual, linear.slopes @ linear.slopes.T + linear.covariance)
    tried = {one.name: one for one in hypotheses(found, observations, linear)}
    log_better = {name: better(observed, one) for name, one in tried.items()}
    possible = {name: values for name, values in log_better.items() if np.isfinite(values).any()}
    ranked = sorted(((name, _averaged(values)) for name, values in possible.items()), key=lambda one: -one[1])
    first, top = ranked[0]
    suspected = {name for name, weight in ranked if weight >= max(SLIGHT, top - NEAR)}
    return RankedFaults(
        _in_words(ranked),
        first == FUEL_SUPPLY and top >= SLIGHT,
        float(_weights(log_better[LEAK]) @ tried[LEAK].sizes) if LEAK in suspected else 0.0,
        _weights(log_better[OVER_SPEED]) if OVER_SPEED in suspected else np.zeros(0),
    )


def better(observed: Observed, tried: Hypothesis) -> FloatArray:
    """For every size, ln of how many times better the observations are predicted than without a fault, shape (sizes,).

    A size with which no fuel would flow where the engine ran is impossible: −∞.
    """
    effects = np.zeros((tried.sizes.size, observed.whitener.shape[1]))
    effects[:, : tried.effects.shape[1]] = tried.effects
    possible = np.asarray(np.isfinite(effects).all(axis=1))
    whitened = np.where(possible[:, np.newaxis], effects, 0.0) @ observed.whitener.T
    found = whitened @ observed.whitened - 0.5 * np.sum(whitened**2, axis=1)
    return np.where(possible, found, -np.inf)


def _averaged(values: FloatArray) -> float:
    top = float(values.max())
    return top + float(np.log(np.mean(np.exp(values - top))))


def _weights(values: FloatArray) -> FloatArray:
    """How likely each size is, given the fault."""
    weights = np.exp(values - values.max())
    return np.asarray(weights / np.sum(weights))


def _in_words(ranked: list[tuple[str, float]]) -> tuple[Fault, ...]:
    """The faults in words; those that explain the drive no better than no fault come after `EXPECTED`."""
    top = ranked[0][1]
    alike = [name for name, weight in ranked[1:] if weight > max(SLIGHT, top - NEAR)]
    better = [_said(name, weight, alike if place == 0 else None, top) for place, (name, weight) in enumerate(ranked)
              if weight >= SLIGHT]  # fmt: skip
    worse = [
        Fault(name, weight, f"no better than no fault: {_WORDS[name]}") for name, weight in ranked if weight < SLIGHT
    ]
    says = (
        "the drive lies within the band that was expected"
        if not better
        else "the band alone does not explain the drive"
    )
    return (*better, Fault(EXPECTED, 0.0, says), *worse)


def _said(name: str, weight: float, alike: list[str] | None, top: float) -> Fault:
    how = "clearly" if weight >= CLEAR else "likely" if weight >= LIKELY else "perhaps"
    if alike is None and weight < top - NEAR:
        how = "less likely"
    look = f"; a log like this cannot tell it from {', '.join(alike)}" if alike else ""
    return Fault(name, weight, f"{how}: {_WORDS[name]}{look}. Test: {_TESTS[name]}")


def _thinned(found: Update) -> Observations:
    """As many observations as the comparison needs, evenly spaced."""
    observations = found.observations
    count = observations.log_lambda.size
    if count <= MOST_ROWS:
        return observations
    kept = np.unique(np.linspace(0, count - 1, MOST_ROWS).astype(np.intp))
    drive = observations.drive
    points = DrivePoints(*(getattr(drive.points, name)[kept] for name in DrivePoints.__dataclass_fields__))
    return replace(
        observations,
        drive=replace(drive, points=points, commanded=drive.commanded[kept]),
        log_lambda=observations.log_lambda[kept],
        variance=observations.variance[kept],
    )
