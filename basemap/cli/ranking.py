"""Find the donors and judge them all, on every core if that pays."""

from __future__ import annotations

import os
import signal
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from basemap.errors import InputError

if TYPE_CHECKING:
    from basemap.jobfile.load import Written
    from basemap.model.ranking import Broken, Candidate

WORTH_A_POOL = 100
"""Donors from which further processes pay.

A donor takes 40 ms of processor time and a process 1.3 s to start (16 by 16 cells, measured), so that two cores break
even at 65 donors and eight at 37; the rest is for cores that have other work.
"""

_AT_A_TIME = 4
"""Donors that a process is handed at a time."""

_MOST_PROCESSES = 61
"""As many as Windows can wait for."""


class Advance(Protocol):
    """Called after every donor."""

    def __call__(self) -> None:
        """One more."""


def donor_files(named: Sequence[Path]) -> list[Path]:
    """The job files that are named, those in a folder included, each file once, by name.

    Raises
    ------
    InputError
        If a folder has no job file.
    """
    files: dict[str, Path] = {}
    for path in sorted({file for one in named for file in _files(one)}, key=str):
        files.setdefault(os.path.realpath(path), path)
    return sorted(files.values(), key=str)


def _files(path: Path) -> list[Path]:
    if not os.path.isdir(path):  # not Path.is_dir, which raises where a name is too long or may not be looked at
        return [path]
    try:
        found = [file for file in path.iterdir() if file.suffix.casefold() == ".toml" and _may_be_read(file)]
    except OSError as cause:
        raise InputError(f"the folder cannot be read: {cause.strerror or cause}", file=str(path)) from None
    if not found:
        raise InputError("has no job file in it: expected files such as van.toml", file=str(path))
    return found


def _may_be_read(file: Path) -> bool:
    """Whether it is a file, or may be one: the reader then says why it cannot be read."""
    try:
        return stat.S_ISREG(os.stat(file).st_mode)
    except PermissionError:
        return True
    except OSError:
        return False


def judge_donor(target: Written, donor: Path) -> Candidate | Broken:
    """What one donor is ranked by, or why it cannot be judged."""
    from basemap.adaptation.pipeline import check
    from basemap.jobfile.other_donor import load_pair
    from basemap.model.ranking import Broken, candidate
    from basemap.report.brief.engines import engines

    try:
        result = check(load_pair(target, donor))
    except InputError as error:
        return Broken(str(donor), str(error))
    made_for, onto = (one.columns[1] for one in engines(result.job))
    return replace(candidate(str(donor), result), engines=(made_for, onto))


def judge_all(
    target: Written, donors: Sequence[Path], advance: Advance, *, from_donors: int = WORTH_A_POOL
) -> list[Candidate | Broken]:
    """Judge every donor, in the order of `donors`; many of them in several processes."""
    judge = partial(judge_donor, target)
    cores = _cores()
    if len(donors) < from_donors or cores < 2:
        return list(_told(map(judge, donors), advance))
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Processes are started afresh, not forked: numpy's threads do not survive a fork, and it is the same everywhere.
    workers = min(cores, -(-len(donors) // _AT_A_TIME), _MOST_PROCESSES)
    with ProcessPoolExecutor(workers, get_context("spawn"), initializer=_leave_interrupts_to_the_parent) as pool:
        try:
            return list(_told(pool.map(judge, donors, chunksize=_AT_A_TIME), advance))
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _told(found: Iterator[Candidate | Broken], advance: Advance) -> Iterator[Candidate | Broken]:
    for one in found:
        advance()
        yield one


def _leave_interrupts_to_the_parent() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def progress(total: int) -> Iterator[Advance]:
    """A progress bar on standard error, if that is a terminal."""
    import sys

    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.progress import Progress

    from basemap.cli.output import console

    with Progress(console=console(error=True), transient=True) as bar:
        task = bar.add_task("Judging donors", total=total)
        yield lambda: bar.update(task, advance=1)
