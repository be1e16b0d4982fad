"""Jobs as they stand in the repository, and sound ones that are drawn, adapted: once in a process for all that looks.

A result is frozen. A test that needs another one makes it by `dataclasses.replace`, and changes copies of its arrays.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import basemap
from basemap.model.result import Result
from tests.builders.sound import sound_job


@cache
def adapted(path: Path) -> Result:
    """A job file that no test changes."""
    return basemap.adapt(basemap.load_job(path))


@cache
def adapted_sound(seed: int) -> Result:
    """A job that is drawn, in which nothing is wrong."""
    with TemporaryDirectory() as folder:
        return basemap.adapt(basemap.load_job(sound_job(seed).write(Path(folder))))
