"""Which fault explains a drive: the same update with one belief widened, compared by how well it predicts the drive.

The comparison is overconfident: of simulated drives, claims above 99 % were right in 82 %. So it is never put as a
probability: faults are ranked in words, with what looks like them and the test that tells them apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from basemap.belief.at_points import log_lambda
from basemap.belief.posterior import Observed
from basemap.belief.unknowns import NUISANCES, PRESSURE_PA
from basemap.belief.update import Linearised, Observations, Prior, Update, about
from basemap.belief.world import nominal
from basemap.model.drive import DrivePoints
from basemap.model.installation import FloatArray, Regulator
from basemap.model.learnt import Fault

SIZES = (0.5, 1.0, 2.0)
"""Each widened belief is tried in three sizes, averaged: nobody knows how large a fault is."""
MOST_ROWS = 300
EXPECTED = "within what was expected"
CLEAR, LIKELY, SLIGHT = 10.0, 5.0, 2.0
"""ln of how many times better a fault foretells the drive than none does, for the words that are used."""
NEAR = 3.0
"""Faults whose weight is so near to the first's cannot be told from it by this log."""

_WORDS = {
    "dead time": "the injectors' dead time is not the stated one",
    "dead time over voltage": "the dead time changes with voltage in another way than stated",
    "common factor": "flow, rail pressure, stoichiometric ratio or breathing off by one factor everywhere; "
    "a log cannot tell these apart",
    "breathing over speed": "over engine speed the target breathes unlike the donor",
    "breathing over load": "over load the target breathes unlike the donor",
    "regulator": "the fuel-pressure regulator is of the other kind, or its hose is off",
    "fuel supply": "the fuel supply gives in at high flow",
    "pressure sensor": "the manifold pressure reads off by some kPa",
    "exhaust leak": "air gets into the exhaust before the probe; suspected only: nothing is corrected for it, since it "
    "would excuse lean readings",
}
_TESTS = {
    "dead time": "at idle, change the dead time by 0.1 ms: the mixture moves most where the pulse is shortest",
    "dead time over voltage": "at idle, switch on one volt of electrical load and watch lambda",
    "common factor": "fuel pressure by gauge, then flow and fuel",
    "breathing over speed": "a slow full-load sweep on a dynamometer",
    "breathing over load": "two loads at one speed, held for some seconds each",
    "regulator": "fuel-pressure gauge at idle and with the hose off",
    "fuel supply": "fuel-pressure gauge at full load, on a dynamometer",
    "pressure sensor": "key on, engine off: it must read the barometer",
    "exhaust leak": "free-rev to 2500 rpm: a leak fades with flow, a dead time does not fade so fast",
}


def faults(found: Update) -> tuple[Fault, ...]:
    """All hypotheses, the most likely first; `EXPECTED` is one of them, with weight 0."""
    prior, observations = found.prior, _thinned(found)
    linear = about(prior, observations, found.amounts)
    points = observations.drive.points
    base = _evidence(linear)
    weights = {name: _averaged(values) - base for name, values in _tried(prior, linear, points)}
    ranked = sorted(weights.items(), key=lambda one: -one[1])
    return _in_words(ranked)


def _in_words(ranked: list[tuple[str, float]]) -> tuple[Fault, ...]:
    """The faults in words; what is no better than no fault at all stands behind `EXPECTED`."""
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
    """As many observations as the comparison needs, evenly picked."""
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


def _tried(prior: Prior, linear: Linearised, points: DrivePoints) -> Iterator[tuple[str, list[float]]]:
    """Every hypothesis with its log evidence in each size."""
    inputs = prior.unknowns.inputs
    dead = next(
        (i for i, entry in enumerate(inputs) if entry.name in ("dead time of the target", "dead time of both")), None
    )
    if dead is not None:
        size = 0.25e-3 / inputs[dead].standard
        yield "dead time", [_evidence(_widened(linear, dead, size * by)) for by in SIZES]
    slope = len(inputs) + NUISANCES.index("dead time over voltage")
    yield "dead time over voltage", [_evidence(_widened(linear, slope, 12.0 * by)) for by in SIZES]
    pressure = len(inputs) + NUISANCES.index("pressure reading")
    yield "pressure sensor", [_evidence(_widened(linear, pressure, 4e3 / PRESSURE_PA * by)) for by in SIZES]
    ones = np.ones(points.rpm.size)
    yield "common factor", [_evidence(_with_column(linear, 0.12 * by * ones)) for by in SIZES]
    x, q = np.log(points.rpm), np.log(points.pressure_pa)
    for name, at, length in (("breathing over speed", x, 0.45), ("breathing over load", q, 0.50)):
        kernel = np.exp(-0.5 * (np.subtract.outer(at, at) / length) ** 2)
        yield name, [_evidence(_with_kernel(linear, (0.12 * by) ** 2 * kernel)) for by in SIZES]
    other = _other_regulator(prior, points)
    if other is not None:
        yield "regulator", [_evidence(_shifted(linear, other))]
    fuel = points.rpm * points.pulse_s
    most = float(fuel.max(initial=1e-9))
    yield (
        "fuel supply",
        [
            _evidence(_with_column(linear, 0.6 * np.maximum(np.log(fuel / (share * most)), 0.0)))
            for share in (0.55, 0.7, 0.85)
        ],
    )
    flow = 900.0 * 35e3 / (points.rpm * points.pressure_pa)
    yield "exhaust leak", [_evidence(_with_column(linear, 0.10 * by * flow)) for by in SIZES]


def _other_regulator(prior: Prior, points: DrivePoints) -> FloatArray | None:
    """What a regulator of the other kind would do to ln λ."""
    forward = prior.unknowns.forward
    world = nominal(forward.job)
    fuel = world.target.fuel
    kind = Regulator.FIXED if fuel.regulator is Regulator.MANIFOLD else Regulator.MANIFOLD
    other = replace(world, target=replace(world.target, fuel=replace(fuel, regulator=kind)))
    found = log_lambda(forward, points, other)[0] - log_lambda(forward, points, world)[0]
    return found if np.isfinite(found).all() else None


def _evidence(linear: Linearised) -> float:
    return Observed.of(linear.residual, linear.slopes @ linear.slopes.T + linear.covariance).log_evidence


def _averaged(values: list[float]) -> float:
    top = max(values)
    return top + float(np.log(np.mean(np.exp(np.array(values) - top))))


def _widened(linear: Linearised, index: int, factor: float) -> Linearised:
    slopes = linear.slopes.copy()
    slopes[:, index] *= np.hypot(1.0, factor)
    return replace(linear, slopes=slopes)


def _with_column(linear: Linearised, values: FloatArray) -> Linearised:
    column = np.zeros((linear.residual.size, 1))
    column[: linear.points, 0] = values
    return replace(linear, slopes=np.hstack([linear.slopes, column]))


def _with_kernel(linear: Linearised, kernel: FloatArray) -> Linearised:
    covariance = linear.covariance.copy()
    covariance[: linear.points, : linear.points] += kernel
    return replace(linear, covariance=covariance)


def _shifted(linear: Linearised, by: FloatArray) -> Linearised:
    residual = linear.residual.copy()
    residual[: linear.points] -= by
    return replace(linear, residual=residual)
