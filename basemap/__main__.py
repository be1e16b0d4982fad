"""The program: ``basemap``, or ``python -m basemap``.

Nothing is imported up here but what it takes to be ended by a signal in good order: until then Ctrl-C is Python's,
which answers it with a traceback.
"""

from __future__ import annotations

import atexit
import gc
import os
import signal
import sys

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

INTERRUPTED = 130
"""Ended by Ctrl-C: 128 + SIGINT, as shells have it."""
TERMINATED = 143
"""Ended by somebody else, or by a machine that shuts down: 128 + SIGTERM."""
HUNG_UP = 129
"""Ended because its terminal was closed: 128 + SIGHUP."""
_STATUS = {"SIGINT": INTERRUPTED, "SIGTERM": TERMINATED, "SIGHUP": HUNG_UP}
_STOPPED = "stopped; no half-written file was left behind"
_TOO_LATE = "told to stop at a moment at which it could not, and went on to its end"

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
    received: list[int] = []
    before = _end_by_signals(received)
    hook = sys.unraisablehook
    sys.unraisablehook = lambda lost: None if received and lost.exc_type is SystemExit else hook(lost)
    try:
        status, *problem = _run(arguments)
        if received and status not in _STATUS.values():
            # Python swallows what is raised while it clears up behind a weak reference.
            status, problem = received[0], [_TOO_LATE]
        if problem:
            from basemap.cli.output import complain

            complain(*problem)
    except SystemExit:
        if not received:
            raise
        status = received[0]  # one more came while the first was dealt with
    finally:
        sys.unraisablehook = hook
        for number, handler in before.items():
            signal.signal(number, handler)
    return status


def _run(arguments: Sequence[str] | None) -> tuple[int, *tuple[str, ...]]:
    """Run one command; its exit status, and the lines of the problem where there is one to be told."""
    _collect_less()
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")  # else it asks every installed package for some
    # numpy's matrices are small here: threads spend 0.09 s of `adapt` waiting for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        from basemap.errors import InputError
        from basemap.exit_status import ExitStatus

        try:
            from basemap.cli.app import program

            program(args=arguments, prog_name="basemap")
            return (ExitStatus.OK,)
        except InputError as error:
            return (ExitStatus.BAD_INPUT, *error.lines)
    except KeyboardInterrupt:
        return INTERRUPTED, _STOPPED
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else 0
        return (status, _STOPPED) if status in _STATUS.values() else (status,)


def _end_by_signals(received: list[int]) -> dict[int, Any]:
    """Let Ctrl-C, SIGTERM and SIGHUP unwind the program, so that nothing half written stays behind.

    What they are answered with is put into `received`; what they did before is returned.
    """
    before: dict[int, Any] = {}
    for name, status in _STATUS.items():
        number = getattr(signal, name, None)  # Windows has no SIGHUP
        # nohup has it ignored, and so has a shell Ctrl-C in the background.
        if number is None or signal.getsignal(number) not in (signal.SIG_DFL, signal.default_int_handler):
            continue

        def end(_number: int, _frame: object, status: int = status) -> None:
            received.append(status)
            raise SystemExit(status)

        try:
            before[number] = signal.signal(number, end)
        except ValueError:
            break  # not the main thread: signals are for somebody else
    return before


def _collect_less() -> None:
    """Reduce garbage collection in a process that soon ends, and skip it at the end."""
    gc.set_threshold(OBJECTS_BETWEEN_COLLECTIONS)
    atexit.register(gc.freeze)


if __name__ == "__main__":
    sys.exit(main())
