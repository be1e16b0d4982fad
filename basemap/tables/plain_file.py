"""The bytes of a file, never more than were asked for, and never from what is no file."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from basemap.errors import InputError


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
