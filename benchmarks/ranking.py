"""``rank`` over a thousand donors, each with a job file and tables of its own: on one core, and on all."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from benchmarks.jobs import write_donors, write_job
from benchmarks.measure import Row, environment, in_words

DONORS = 1_000

SCRIPT = """
import os, sys, time
from pathlib import Path
from basemap.cli.ranking import donor_files, judge_all
from basemap.jobfile.other_donor import load_target
from basemap.model.ranking import Candidate
cores = os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else set(range(os.cpu_count() or 1))
one = sys.argv[3] == "one"
if one and hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(cores)})
start = time.perf_counter()
target, files = load_target(Path(sys.argv[1])), donor_files([Path(sys.argv[2])])
from_donors = {"from_donors": len(files) + 1} if one else {}
found = judge_all(target, files, lambda: None, **from_donors)
print(time.perf_counter() - start, len(cores), sum(isinstance(each, Candidate) for each in found))
"""


def rows(folder: Path) -> Iterator[Row]:
    """Elapsed time of both; each once, for it is long enough."""
    target = write_job(folder)
    donors = folder / "donors"
    donors.mkdir()
    write_donors(donors, DONORS)
    alone, _ = _elapsed(target, donors, "one")
    yield Row(f"rank {DONORS} donors on one core, elapsed", in_words(alone), "", "", "")
    together, cores = _elapsed(target, donors, "all")
    yield Row(
        f"rank {DONORS} donors on {cores} cores / on one of them by {cores}",
        in_words(together), in_words(alone / cores), f"{together * cores / alone:.2f}", "",
    )  # fmt: skip


def _elapsed(target: Path, donors: Path, cores: str) -> tuple[float, int]:
    """Elapsed time, s, and the cores that there are."""
    command = [sys.executable, "-c", SCRIPT, str(target), str(donors), cores]
    printed = subprocess.run(command, capture_output=True, text=True, check=True, env=environment()).stdout.split()
    if int(printed[2]) != DONORS:
        raise ValueError(f"only {printed[2]} of {DONORS} donors could be judged")
    return float(printed[0]), int(printed[1])
