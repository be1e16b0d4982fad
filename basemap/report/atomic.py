"""All files of a run, or none of them.

A reader never sees half a file, a failure leaves the folder as it was, and nothing is overwritten unless asked for.
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
"""Writes one finished file into the stream it is given."""

LONGEST_WAIT_S = 5.0
"""For another program that holds a folder locked; another run of this one holds it for a few moves."""
_BETWEEN_TRIES_S = 0.02


def write_together(files: Mapping[Path, Writer], *, force: bool = False, stale: Iterable[Path] = ()) -> None:
    """Write several files so that either all of them appear or none does.

    Every file is first written under a temporary name in its own folder; only when all are complete are they moved.
    Nobody can guess that name, and where something has it nevertheless, nothing is written there.

    Parameters
    ----------
    files
        Final path → what writes it. Folders are made where they are missing.
    force
        Whether files that exist may be replaced.
    stale
        Files of an earlier run that must not be left beside these; they count as files to be replaced.

    Raises
    ------
    OutputExists
        Naming the first file that stands in the way; nothing was written.
    InputError
        Where a folder or file cannot be written, or another program keeps it locked; the folder is as it was, or the
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
    """Refuse a file that is there already.

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
        with open(hidden, "xb") as stream:  # never a file that is there, nor what a link that is there leads to
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
        """Make everything as it was, and say what could not be."""
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
                # Another run may have put its own files there by now.
                with suppress(OSError):
                    folder.rmdir()
        return left

    def finish(self) -> None:
        self.finished = True
        for hidden in self.aside.values():
            # It stays behind under a hidden name; the new files are whole.
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
    """Hold back what would end the program until a few moves are done, so that they are done or undone together."""
    held: list[int] = []
    before: dict[int, Any] = {}
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGINT", "SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None:
                before[number] = signal.signal(number, lambda received, _frame: held.append(received))
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    for number in held[:1]:
        signal.raise_signal(number)


@contextmanager
def _alone_in(folders: Iterable[Path]) -> Iterator[None]:
    """Keep other runs of this program out of some folders; where the system has no such locks, nothing keeps them."""
    with ExitStack() as opened:
        if sys.platform != "win32":
            until = time.monotonic() + LONGEST_WAIT_S
            for folder in sorted(folders):
                # Some network folders have no locks, and a folder that may be written but not read cannot be opened.
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
        """Lock a folder, or say that somebody else has it."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


def _hidden_name(path: Path, what: str) -> Path:
    """A name in the same folder that nobody can guess, and so nobody can have put a link there."""
    # The suffix stays: it says what is in a file that a power cut left behind.
    return path.with_name(f".basemap-{os.urandom(8).hex()}.{what}{path.suffix}")


def _flush_to_disk(stream: BinaryIO) -> None:
    stream.flush()
    # Some network folders cannot; the file is still complete.
    with suppress(OSError):
        os.fsync(stream.fileno())
