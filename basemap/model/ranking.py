"""Several donors for one target, in order."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from basemap.model.cause import by_cause
from basemap.model.finding import Severity, Verdict
from basemap.model.job import Source
from basemap.model.result import Result


@dataclass(frozen=True)
class Candidate:
    """A donor with the criteria that it is ranked by.

    Parameters
    ----------
    donor, title
        Its file as the user named it, and its title.
    stops
        Names of the rules that stop it, one for each stop.
    cautions
        Names of the rules that caution, the most severe of each cause.
    not_judged
        Rules that could stop the map but could not be judged: each counts as a caution.
    outside
        Share of the target's reachable cells that lie outside the donor's data, 0…1.
    band
        Expanded uncertainty (k = 2) of λ in the worst reachable cell, relative; NaN where none is known.
    engines
        The donor and the target in a line of words each.
    """

    donor: str
    title: str
    verdict: Verdict
    stops: tuple[str, ...]
    cautions: tuple[str, ...]
    outside: float
    band: float
    limits: tuple[str, ...] = ()
    sources: tuple[Source, ...] = ()
    not_judged: tuple[str, ...] = ()
    engines: tuple[str, str] = ("", "")

    @property
    def criteria(self) -> tuple[float, float, float, float]:
        """The criteria, lower is better: stops, cautions, share outside, band."""
        band = math.inf if math.isnan(self.band) else self.band
        return len(self.stops), len(self.cautions) + len(self.not_judged), self.outside, band


@dataclass(frozen=True)
class Broken:
    """A donor that cannot be judged, and why, in one sentence."""

    donor: str
    problem: str


@dataclass(frozen=True)
class Ranking:
    """The donors, best first, and those that cannot be judged, by name."""

    title: str
    job: str
    placed: tuple[Candidate, ...]
    broken: tuple[Broken, ...]


def candidate(donor: str, result: Result) -> Candidate:
    """The criteria of a donor, from its result."""
    reachable = result.table.reachable
    outside = reachable & ~result.table.visited
    return Candidate(
        donor=donor,
        title=result.job.title,
        verdict=result.verdict,
        stops=tuple(stop.rule for stop in result.stops),
        cautions=tuple(group.gravest.rule for group in by_cause(result.findings) if group.severity is Severity.CAUTION),
        not_judged=tuple(dict.fromkeys(one.rule for one in result.not_judged if one.can_stop)),
        # Without a cell in reach nothing is known at all.
        outside=float(outside.sum() / reachable.sum()) if reachable.any() else 1.0,
        band=result.band.worst,
        limits=result.limits,
        sources=result.job.sources,
    )


def ranked(title: str, job: str, found: Iterable[Candidate | Broken]) -> Ranking:
    """Put donors in order: fewest stops, cautions, cells outside the data, narrowest band; then by name."""
    entries = list(found)
    placed = [entry for entry in entries if isinstance(entry, Candidate)]
    broken = [entry for entry in entries if isinstance(entry, Broken)]
    return Ranking(
        title=title,
        job=job,
        placed=tuple(sorted(placed, key=lambda entry: (entry.criteria, entry.donor))),
        broken=tuple(sorted(broken, key=lambda entry: entry.donor)),
    )
