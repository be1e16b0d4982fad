"""The calculation in an open process: one small job in its parts, the array model, its memory, and the uncertainty."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import basemap
from basemap.adaptation.pipeline import compute
from basemap.belief.bands import bands
from basemap.belief.budget import budget
from basemap.belief.monte_carlo import Drawing
from basemap.belief.world import Forward
from basemap.rules.judge import judge
from benchmarks.bare import prepared
from benchmarks.jobs import job_of_size, write_job
from benchmarks.measure import Row, environment, interleaved, processor_time, ratio_row, time_row

REPETITIONS = {16: 200, 256: 20, 2048: 3}
SAMPLES = 100_000

MEMORY = """
import sys, tracemalloc
from pathlib import Path
from basemap.adaptation.pipeline import compute
from benchmarks.jobs import job_of_size
job = job_of_size(Path(sys.argv[1]), 2048)
tracemalloc.start()
result = compute(job)
print(*tracemalloc.get_traced_memory())
"""

DRAWING_MEMORY = """
import resource, sys
from pathlib import Path
from basemap.adaptation.pipeline import adapt
from basemap.belief.monte_carlo import Drawing
from benchmarks.jobs import job_of_size
job = job_of_size(Path(sys.argv[1]), 16)
adapt(job)
before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
adapt(job, drawing=Drawing(int(sys.argv[2])))
print(before, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def rows(folder: Path) -> Iterator[Row]:
    """Times and memory of the calculation."""
    yield from _small_job(folder)
    yield from _arrays(folder)
    yield from _uncertainty(folder)


def _small_job(folder: Path) -> Iterator[Row]:
    path = write_job(folder)
    job = basemap.load_job(path)
    computed = compute(job)
    band = bands(computed)

    def judged() -> object:
        return judge(computed, (), relative_uncertainty=band.adapted, measure_first=band.first)

    found = interleaved(
        {
            "basemap.load_job(file)": processor_time(lambda: basemap.load_job(path)),
            "basemap.adapt(job)": processor_time(lambda: basemap.adapt(job)),
            "of it: the model": processor_time(lambda: compute(job)),
            "of it: the rules": processor_time(judged),
            "of it: the bands": processor_time(lambda: bands(computed)),
        },
        50,
    )
    for name, seconds in found.items():
        yield time_row(f"{name}, 16 by 16, open process", seconds, 5e-3 if name.endswith("model") else None)


def _arrays(folder: Path) -> Iterator[Row]:
    models = {}
    for size, repetitions in REPETITIONS.items():
        job = job_of_size(folder, size)
        bare = prepared(job)
        found = interleaved(
            {"model": processor_time(lambda job=job: compute(job)), "bare": processor_time(bare)},  # type: ignore[misc]
            repetitions,
        )
        models[size] = found["model"]
        yield ratio_row(f"array model {size} by {size} / bare numpy", found["model"], found["bare"], 3.0)
    growth = (models[2048] / models[256]) / (2048 / 256) ** 2
    yield Row("time of a cell, 2048 by 2048 / 256 by 256", "", "", f"{growth:.2f}", "about 1")
    held, peak = _numbers(MEMORY, folder)
    yield Row(
        "memory of the array model, 2048 by 2048 / its result",
        f"{peak / 2**20:.0f} MiB", f"{held / 2**20:.0f} MiB", f"{peak / held:.2f}", "at most 6", peak / held <= 6.0,
    )  # fmt: skip


def _uncertainty(folder: Path) -> Iterator[Row]:
    job = job_of_size(folder, 16)
    computed = compute(job)
    forward = Forward.of(job)
    loaded = forward.new(computed.table.new * job.target.shown.per_unit)
    found = interleaved(
        {
            "budget": processor_time(lambda: budget(job, forward, loaded)),
            "model": processor_time(lambda: compute(job)),
        },
        50,
    )
    yield ratio_row("uncertainty budget, 16 by 16 / the model", found["budget"], found["model"], 5.0)
    drawn = processor_time(lambda: bands(computed, Drawing(SAMPLES)))()
    yield time_row(f"{SAMPLES} samples, 16 by 16", drawn, 60.0)
    if sys.platform != "win32":
        before, after = _numbers(DRAWING_MEMORY, folder, str(SAMPLES))
        kib = 1024.0 if sys.platform == "linux" else 1.0
        yield Row("memory that they add", f"{(after - before) * kib / 2**20:.0f} MiB", "", "", "")


def _numbers(script: str, folder: Path, *arguments: str) -> tuple[float, float]:
    """What a script in a process of its own prints: two numbers."""
    command = [sys.executable, "-c", script, str(folder), *arguments]
    printed = subprocess.run(command, capture_output=True, text=True, check=True, env=environment()).stdout.split()
    return float(printed[0]), float(printed[1])
