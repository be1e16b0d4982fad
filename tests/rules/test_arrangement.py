"""Cells turned over or moved under right axes are questioned; sound tables are not."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import basemap
from basemap.adaptation.pipeline import compute
from basemap.model.finding import Finding, Severity
from basemap.model.installation import Cycle, FloatArray
from tests.builders.computed import found, make_computed, with_both
from tests.builders.sound import SoundJob, sound_job
from tests.rules.test_health import smooth, with_values
from tests.samples.make_samples import SAMPLES

RULE = "beside-its-axes"
SEEDS = range(0, 24, 3)


def questions(job: SoundJob, folder: Path) -> list[Finding]:
    return found(compute(basemap.load_job(job.write(folder))), RULE)


def with_cells(job: SoundJob, cells: FloatArray) -> SoundJob:
    return replace(job, cells=cells.tolist())


@pytest.mark.law
def test_the_van_turned_over(tmp_path: Path) -> None:
    """16 by 16 cells under right axes, 27 % lean to 37 % rich, and nothing else sees it."""
    for path in SAMPLES.glob("ferry_van*"):
        shutil.copy(path, tmp_path)
    lines = (tmp_path / "ferry_van_fuel.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines[2:]]
    turned = [[row[0], *column] for row, column in zip(rows, zip(*(row[1:] for row in rows), strict=True), strict=True)]
    text = "\n".join([*lines[:2], *(",".join(row) for row in turned)]) + "\n"
    (tmp_path / "ferry_van_fuel.csv").write_text(text, encoding="utf-8")
    (finding,) = found(compute(basemap.load_job(tmp_path / "ferry_van.toml")), RULE)
    assert finding.severity is Severity.CAUTION
    assert "out of line with their axes, transposed, rows and columns swapped: moved back" in finding.message


@pytest.mark.law
def test_most_tables_that_are_turned_over_are_seen(tmp_path: Path) -> None:
    """Of 75 random ones nine in ten with efficiencies, and all with pulses, whose size goes with the pressure."""
    jobs = [sound_job(seed, 16) for seed in SEEDS]
    jobs = [job for job in jobs if len(job.rpm) == len(job.load)]
    seen = [bool(questions(with_cells(job, np.array(job.cells).T), tmp_path)) for job in jobs]
    assert all(saw for saw, job in zip(seen, jobs, strict=True) if "pulses" in job.traits)
    assert sum(seen) >= len(jobs) - 1


@pytest.mark.law
@pytest.mark.parametrize(("step", "words"), [(1, "one row too high, the last"), (-1, "one row too low, the first")])
def test_rows_moved_by_one(step: int, words: str, tmp_path: Path) -> None:
    for seed in SEEDS:
        job = sound_job(seed, 12)
        (finding,) = questions(with_cells(job, np.roll(np.array(job.cells), step, axis=0)), tmp_path)
        assert words in finding.message, seed


@pytest.mark.law
def test_rows_upside_down(tmp_path: Path) -> None:
    for seed in SEEDS:
        job = sound_job(seed, 12)
        (finding,) = questions(with_cells(job, np.array(job.cells)[::-1]), tmp_path)
        assert "upside down, the highest load first" in finding.message, seed


@pytest.mark.law
def test_pulses_of_which_one_row_was_lost(tmp_path: Path) -> None:
    """A pulse goes with the pressure: one row off, its efficiency is off most where the row's share is largest."""
    jobs = [job for job in (sound_job(seed, 12) for seed in range(30)) if "pulses" in job.traits]
    seen = 0
    for job in jobs:
        cells = np.array(job.cells)
        messages = [one.message for one in questions(with_cells(job, np.vstack([cells[1:], cells[-1:]])), tmp_path)]
        seen += any("one row too low" in message for message in messages)
    assert seen >= 0.7 * len(jobs)


@pytest.mark.law
def test_a_flat_table_and_a_small_one_say_nothing() -> None:
    assert found(make_computed(with_values(np.full(smooth().shape, 0.8))), RULE) == []
    assert found(make_computed(), RULE) == []


@pytest.mark.law
def test_not_for_two_strokes() -> None:
    moved = with_values(np.roll(smooth(), 1, axis=0))
    assert len(found(make_computed(moved), RULE)) == 1
    assert found(make_computed(with_both(moved, "engine", cycle=Cycle.TWO_STROKE)), RULE) == []
