"""The program: ``basemap``, or ``python -m basemap``."""

from __future__ import annotations

import atexit
import gc
import sys
from collections.abc import Sequence

from basemap.errors import InputError
from basemap.exit_status import ExitStatus

INTERRUPTED = 130
"""Ended by Ctrl-C: 128 + SIGINT, as shells have it."""

OBJECTS_BETWEEN_COLLECTIONS = 100_000
"""Python's own 700 make it search for cyclic rubbish hundreds of times while it does no more than import."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status.

    Parameters
    ----------
    arguments
        What follows the program's name; by default the words of the command line.
    """
    from basemap.cli.output import complain

    _collect_less()
    try:
        from basemap.cli.app import app

        app(args=arguments, prog_name="basemap")
    except InputError as problem:
        complain(str(problem))
        return ExitStatus.BAD_INPUT
    except KeyboardInterrupt:
        status = INTERRUPTED
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else ExitStatus.OK
    if status == INTERRUPTED:
        complain("stopped; no half-written file was left behind")
    return status


def _collect_less() -> None:
    """Spare a process that soon ends most of the search for cyclic rubbish, and all of it once it ends."""
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    atexit.register(gc.freeze)


if __name__ == "__main__":
    sys.exit(main())
