"""Measuring two things side by side, so that a busy machine slows both."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One line of the table: what was measured, the figures as text, the goal, and whether it is met."""

    name: str
    ours: str
    floor: str
    found: str
    goal: str
    met: bool | None = None


def interleaved(tasks: Mapping[str, Callable[[], float]], repetitions: int) -> dict[str, float]:
    """The least of many measurements of each task, taken in turn."""
    least = dict.fromkeys(tasks, float("inf"))
    for _ in range(repetitions):
        for name, task in tasks.items():
            least[name] = min(least[name], task())
    return least


def processor_time(action: Callable[[], object]) -> Callable[[], float]:
    """A task that measures the processor time of an action in this process, s."""

    def task() -> float:
        start = time.process_time()
        action()
        return time.process_time() - start

    return task


def whole_process(arguments: Sequence[str], folder: Path) -> Callable[[], float]:
    """A task that measures a whole Python process: processor time, or elapsed time where there is no `os.wait4`, s."""

    def task() -> float:
        start = time.perf_counter()
        command = [sys.executable, *arguments]
        child = subprocess.Popen(command, cwd=folder, stdout=subprocess.DEVNULL, env=environment())
        if not hasattr(os, "wait4"):
            status = child.wait()
            used = time.perf_counter() - start
        else:
            _, state, usage = os.wait4(child.pid, 0)
            status = child.returncode = os.waitstatus_to_exitcode(state)
            used = usage.ru_utime + usage.ru_stime
        if status:
            raise subprocess.CalledProcessError(status, command)
        return used

    return task


def environment() -> dict[str, str]:
    """The environment with this working copy in front of an installed one, and numpy in one thread, as ours has it."""
    here = str(Path(__file__).parents[1])
    behind = os.environ.get("PYTHONPATH")
    path = os.pathsep.join([here, behind] if behind else [here])
    return {"OPENBLAS_NUM_THREADS": "1", **os.environ, "PYTHONPATH": path}


def ratio_row(name: str, ours_s: float, floor_s: float, goal: float) -> Row:
    """A ratio against its goal."""
    ratio = ours_s / floor_s
    return Row(name, in_words(ours_s), in_words(floor_s), f"{ratio:.2f}", f"at most {goal:g}", ratio <= goal)


def time_row(name: str, found_s: float, goal_s: float | None = None) -> Row:
    """A time against its goal, or a part that has none of its own."""
    goal = "" if goal_s is None else f"at most {in_words(goal_s)}"
    return Row(name, in_words(found_s), "", "", goal, None if goal_s is None else found_s <= goal_s)


def in_words(seconds: float) -> str:
    """A time with its unit."""
    return f"{1000 * seconds:.3g} ms" if seconds < 1.0 else f"{seconds:.3g} s"
