"""The bytes of a file, never more than were asked for, and never from what is no file."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from basemap.errors import InputError

KIB, MIB = 1024, 1024 * 1024


def content_of(path: str | Path, most: int, expected: str, when_larger: str = "") -> bytes:
    """The bytes of a file; refused, if it cannot be read, without the file's name, which the caller adds.

    Parameters
    ----------
    most
        Bytes beyond which it is too large.
    expected
        What the file should be, such as ``a job file such as van.toml``.
    when_larger
        What to do about one that is too large, where that is not plain from what is expected.

    Raises
    ------
    InputError
        Where there is no such file, a folder, pipe or device stands there, it cannot be read, or it is too large.
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
    """Refuse what is larger than `most` bytes; the message ends with `remedy`."""
    if len(content) > most:
        size = f"{most // MIB} MiB" if most >= MIB else f"{most // KIB} KiB"
        raise InputError(f"is larger than {size}: {remedy}")


def bytes_at_most(path: str | Path, most: int) -> bytes:
    """The first `most` + 1 bytes: a caller that gets more than `most` refuses the file by its size.

    Raises
    ------
    InputError
        Where a pipe or a device stands in place of a file: one may never end, the other may never begin. Where the
        name cannot be one: what Python says of it differs from version to version.
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
