"""What is done to a run before it begins, in the process that will be the run.

Functions of a module, so that `tests/cli/warm.py` can name them to another process.
"""

from __future__ import annotations

import ctypes
import os
import signal
import sys
import weakref
from typing import BinaryIO

from basemap.report import atomic

_SINCE_LINUX_2_6_26 = 0x20080522
_OVERRIDES, _READS = 1, 2
"""Capabilities: to pass over permissions, and over those of reading."""


def heeds(number: int) -> None:
    """What a shell starts in the background has Ctrl-C ignored, and so would its children."""
    signal.signal(number, signal.SIG_DFL)


def without(descriptors: tuple[int, ...]) -> None:
    for one in descriptors:
        os.close(one)


def only_written_to() -> None:
    """Standard input is open, but not for reading."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 0)


def files_of_at_most(size: int) -> None:
    if sys.platform == "win32":
        raise OSError("forks, signals and permissions are POSIX")
    import resource

    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def without_a_rootly_pass() -> None:
    """Root, too, is bound by the permissions of folders (Linux: two capabilities given up)."""
    if sys.platform == "win32":
        raise OSError("forks, signals and permissions are POSIX")
    if os.geteuid() != 0:
        return
    system = ctypes.CDLL(None, use_errno=True)
    header = (ctypes.c_uint32 * 2)(_SINCE_LINUX_2_6_26, 0)
    # Effective, permitted, inheritable: of the first 32 capabilities, then of the others.
    held = (ctypes.c_uint32 * 6)()
    if system.capget(header, held) != 0:
        raise OSError(ctypes.get_errno(), "capget")
    for at in range(2):
        held[at] &= ~(1 << _OVERRIDES | 1 << _READS)
    if system.capset(header, held) != 0:
        raise OSError(ctypes.get_errno(), "capset")


def stopped_while_a_file_is_written(number: int) -> None:
    """The signal comes when the first file is on the disk under its hidden name, the others not yet begun."""
    heeds(number)
    written = atomic._flush_to_disk

    def flush(stream: BinaryIO) -> None:
        written(stream)
        os.kill(os.getpid(), number)

    atomic._flush_to_disk = flush


def stopped_while_python_clears_up(number: int) -> None:
    """What is raised in the callback of a weak reference goes no further."""
    heeds(number)
    written = atomic._flush_to_disk

    class Thing:
        pass

    def gone(_: object) -> None:
        os.kill(os.getpid(), number)
        for _ in range(1000):
            pass

    def flush(stream: BinaryIO) -> None:
        thing = Thing()
        reference = weakref.ref(thing, gone)
        del thing
        assert reference() is None
        written(stream)

    atomic._flush_to_disk = flush
