"""Reads the bytes of a plain file, and never more than a limit."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from basemap.errors import InputError

KIB, MIB = 1024, 1024 * 1024


def content_of(path: str | Path, most: int, expected: str, when_larger: str = "") -> bytes:
    """The bytes of a file; a refusal does not name the file, for the caller adds its name.

    Parameters
    ----------
    most
        The most bytes that it may have.
    expected
        What the file should be, such as ``a job file such as van.toml``.
    when_larger
        What to do about a file that is too large; by default `expected` is named.

    Raises
    ------
    InputError
        Where the file does not exist, is a folder, pipe or device, cannot be read, or is too large.
    """
    if os.path.isdir(path):
        raise InputError(f"is a folder: expected {expected}")
    try:
        content = bytes_at_most(path, most)
    except FileNotFoundError:
        raise InputError(f"no such file: expected {expected}") from None
    except (OSError, ValueError) as error:
        raise InputError(f"cannot be read: {getattr(error, 'strerror', None) or error}") from None
    refuse_larger(content, most, when_larger or f"expected {expected}")
    return content


def refuse_larger(content: bytes, most: int, remedy: str) -> None:
    """Refuse content of more than `most` bytes; the message ends with `remedy`."""
    if len(content) > most:
        size = f"{most // MIB} MiB" if most >= MIB else f"{most // KIB} KiB"
        raise InputError(f"is larger than {size}: {remedy}")


def bytes_at_most(path: str | Path, most: int) -> bytes:
    """The first `most` + 1 bytes; a caller that gets more than `most` refuses the file.

    Raises
    ------
    InputError
        Where the file is a pipe or a device, which may never end or never begin; where its name is impossible, for
        which each version of Python has another error.
    OSError, ValueError
        As `open` does.
    """
    if "\0" in str(path):
        raise InputError("a file name cannot contain a null character: take it out of the name")
    mode = os.stat(path).st_mode
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise InputError("this is a pipe or a device: expected a plain file")
    with open(path, "rb") as stream:
        return stream.read(most + 1)
