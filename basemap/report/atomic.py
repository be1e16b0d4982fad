"""Writes all files of a run, or none of them.

A reader never sees half a file, a failure leaves the folder as it was, and nothing is overwritten unless the user asks.
"""

from __future__ import annotations

import io
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from basemap.errors import InputError, OutputExists, reason

if sys.platform != "win32":
    import fcntl

Writer = Callable[[BinaryIO], None]
"""Writes one whole file into a stream."""

LONGEST_WAIT_S = 5.0
"""How long to wait for a folder that another program has locked; a run of this program locks it for a few moves."""
_BETWEEN_TRIES_S = 0.02


def write_together(files: Mapping[Path, Writer], *, force: bool = False, stale: Iterable[Path] = ()) -> None:
    """Write several files so that either all of them appear or none does.

    Every file is first written under a temporary name in its own folder; all are moved once all are complete. Nobody
    can guess that name, and a file that has it nevertheless is not overwritten.

    Parameters
    ----------
    files
        Final path → its writer. Missing folders are made.
    force
        Whether files that exist may be replaced.
    stale
        Files of an earlier run that must not stay beside these; they count as files to replace.

    Raises
    ------
    OutputExists
        Naming the first file that stands in the way; nothing was written.
    InputError
        Where a folder or file cannot be written, or another program has locked it; the folder is as it was, or the
        message says what is not.
    """
    leftovers = [path for path in stale if _taken(path)]
    refuse_existing([*files, *leftovers], force)
    run = _Undoable()
    path = Path()
    try:
        for path, writer in files.items():
            run.prepare(path, writer)
        with _alone_in({path.parent for path in files}), _undisturbed():
            # Another run may have written here since.
            refuse_existing(files, force)
            for path in leftovers:
                run.set_aside(path)
            for path in files:
                run.move(path)
            run.finish()
    except OSError as cause:
        left = "; ".join(run.undo()) or "nothing was changed"
        raise InputError(f"cannot be written ({_reason(cause)}); {left}", file=str(path)) from cause
    except BaseException:
        run.undo()
        raise


def text(content: str) -> Writer:
    """A writer of text, in UTF-8 with plain line feeds."""
    return data(content.encode("utf-8"))


def text_of(make: Callable[[], str]) -> Writer:
    """A writer of text that is made only when it is written: not where a file stands in the way."""

    def write(stream: BinaryIO) -> None:
        stream.write(make().encode("utf-8"))

    return write


def data(content: bytes) -> Writer:
    """A writer of bytes."""

    def write(stream: BinaryIO) -> None:
        stream.write(content)

    return write


def through_memory(make: Writer) -> Writer:
    """A writer that makes the file in memory first: if the disk is full, it fails once, with a message of its own."""

    def write(stream: BinaryIO) -> None:
        made = io.BytesIO()
        make(made)
        stream.write(made.getvalue())

    return write


def _taken(path: Path) -> bool:
    return os.path.lexists(path)


def refuse_existing(paths: Iterable[Path], force: bool) -> None:
    """Refuse a file that exists already, unless it may be replaced.

    Raises
    ------
    OutputExists
        Naming the first file that stands in the way.
    """
    for path in paths:
        if os.path.isdir(path):  # not Path.is_dir, which raises where a name is too long
            raise OutputExists("is a folder, but a file must be written there; name another place", file=str(path))
        if _taken(path) and not force:
            raise OutputExists(
                "already exists; nothing was written; use --force to replace it, or name another place",
                file=str(path),
            )


def _reason(cause: OSError) -> str:
    if isinstance(cause, PermissionError):
        return "no permission; is the folder read-only, or the file open in another program?"
    return reason(cause)


@dataclass
class _Undoable:
    """What has been done so far, so that it can be undone."""

    folders: list[Path] = field(default_factory=list)
    prepared: dict[Path, Path] = field(default_factory=dict)
    aside: dict[Path, Path] = field(default_factory=dict)
    moved: list[Path] = field(default_factory=list)
    finished: bool = False

    def prepare(self, path: Path, writer: Writer) -> None:
        self._make_folder(path.parent)
        hidden = _hidden_name(path, "new")
        self.prepared[path] = hidden
        with open(hidden, "xb") as stream:  # neither a file that exists, nor the target of a link that exists
            writer(stream)
            _flush_to_disk(stream)

    def set_aside(self, path: Path) -> None:
        hidden = _hidden_name(path, "old")
        os.replace(path, hidden)
        self.aside[path] = hidden

    def move(self, path: Path) -> None:
        if _taken(path):
            self.set_aside(path)
        os.replace(self.prepared[path], path)
        del self.prepared[path]
        self.moved.append(path)

    def undo(self) -> list[str]:
        """Restore everything, and return what could not be restored, in words."""
        if self.finished:
            return []
        left = []
        with _undisturbed():
            made = [path for path in self.moved if path not in self.aside]
            for path in (*made, *self.prepared.values()):
                try:
                    path.unlink()
                except OSError:
                    if _taken(path):
                        left.append(f"{path} was left behind")
            for path, hidden in self.aside.items():
                try:
                    os.replace(hidden, path)
                except OSError:
                    left.append(f"the former {path} is now {hidden}")
            for folder in reversed(self.folders):
                # Another run may have put files of its own there.
                with suppress(OSError):
                    folder.rmdir()
        return left

    def finish(self) -> None:
        self.finished = True
        for hidden in self.aside.values():
            # One that cannot be removed stays under its hidden name; the new files are whole.
            with suppress(OSError):
                hidden.unlink()

    def _make_folder(self, folder: Path) -> None:
        missing = []
        while not os.path.isdir(folder):
            if _taken(folder):
                raise OutputExists("is a file, but a folder is needed there; name another place", file=str(folder))
            missing.append(folder)
            folder = folder.parent
        for new in reversed(missing):
            try:
                new.mkdir()
            except FileExistsError:
                continue  # another run was faster
            self.folders.append(new)


@contextmanager
def _undisturbed() -> Iterator[None]:
    """Delay the signals that would end the program for a few moves, so that all of them are done or undone."""
    received: list[int] = []
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None:
                before[number] = signal.signal(number, lambda number, _frame: received.append(number))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    for number in received[:1]:
        signal.raise_signal(number)


@contextmanager
def _alone_in(folders: Iterable[Path]) -> Iterator[None]:
    """Lock some folders against other runs of this program; on a system without such locks, nothing is locked."""
    with ExitStack() as opened:
        if sys.platform != "win32":
            until = time.monotonic() + LONGEST_WAIT_S
            for folder in sorted(folders):
                # Some network folders have no locks, and a folder without read permission cannot be opened.
                with suppress(OSError):
                    descriptor = os.open(folder, os.O_RDONLY)
                    opened.callback(os.close, descriptor)
                    while not _locked(descriptor):
                        if time.monotonic() > until:
                            raise InputError(
                                "another program has locked this folder; nothing was changed; try again when it is "
                                "done, or name another place",
                                file=str(folder),
                            )
                        time.sleep(_BETWEEN_TRIES_S)
        yield


if sys.platform != "win32":

    def _locked(descriptor: int) -> bool:
        """Lock a folder; false where somebody else has locked it."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


def _hidden_name(path: Path, what: str) -> Path:
    """A name in the same folder that nobody can guess, so that nobody can have put a link there."""
    # The suffix stays, and shows what a file is that a power cut left behind.
    return path.with_name(f".basemap-{os.urandom(8).hex()}.{what}{path.suffix}")


def _flush_to_disk(stream: BinaryIO) -> None:
    stream.flush()
    # Some network folders do not support this; the file is complete all the same.
    with suppress(OSError):
        os.fsync(stream.fileno())
