"""The program: ``basemap``, or ``python -m basemap``."""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from typing import Any, NoReturn

from basemap.errors import InputError
from basemap.exit_status import ExitStatus

INTERRUPTED = 130
"""Ended by Ctrl-C: 128 + SIGINT, as shells have it."""
TERMINATED = 143
"""Ended by somebody else, or by a machine that shuts down: 128 + SIGTERM."""
HUNG_UP = 129
"""Ended because its terminal was closed: 128 + SIGHUP."""
_STOPPED = (INTERRUPTED, TERMINATED, HUNG_UP)

OBJECTS_BETWEEN_COLLECTIONS = 1_000_000
"""Python's own 700 make it search for cyclic rubbish hundreds of times while it does no more than import.

100,000 still meant four searches in one `adapt`, 0.03 s; a run that makes many more objects does search.
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    arguments
        What follows the program's name; by default the words of the command line.
    """
    problem = "stopped; no half-written file was left behind"
    _collect_less()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else it asks every installed package for some
    try:
        from basemap.cli.app import app

        with _ended_by_signals():
            app(args=arguments, prog_name="basemap")
        return ExitStatus.OK
    except InputError as error:
        status, problem = int(ExitStatus.BAD_INPUT), str(error)
    except KeyboardInterrupt:
        status = INTERRUPTED
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else ExitStatus.OK
        if status not in _STOPPED:
            return status
    from basemap.cli.output import complain

    complain(problem)
    return status


@contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Let SIGTERM and SIGHUP unwind the program as Ctrl-C does, so that nothing half written stays behind."""
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for name, status in (("SIGTERM", TERMINATED), ("SIGHUP", HUNG_UP)):
            number = getattr(signal, name, None)  # Windows has no SIGHUP
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:  # nohup has it ignored
                before[number] = signal.signal(number, partial(_end, status))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _end(status: int, _number: int, _frame: object) -> NoReturn:
    raise SystemExit(status)


def _collect_less() -> None:
    """Spare a process that soon ends most of the search for cyclic rubbish, and all of it once it ends."""
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    atexit.register(gc.freeze)


if __name__ == "__main__":
    sys.exit(main())
