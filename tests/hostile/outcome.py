"""What comes of one hostile file; run as a module, of many, each in a process of its own that is measured."""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from basemap.errors import InputError
from basemap.jobfile.load import load_job
from basemap.tables.read import read_grid

MOST_MIB = 600
MOST_SECONDS = 10


def outcome(name: str) -> dict[str, Any]:
    """The message with which the file of this name in the working folder is refused, or the numbers that are read."""
    try:
        if name.endswith(".toml"):
            return {"title": load_job(name).title[:60]}
        grid = read_grid(name)
    except InputError as error:
        return {"message": str(error)}
    return {"rpm": grid.rpm.tolist(), "load": grid.load.tolist(), "values": grid.values.tolist()}


def measured(name: str) -> dict[str, Any]:
    """The same in a child process that may take so much memory and so much time, with what it took."""
    if sys.platform != "linux":
        raise OSError("what a process may take is asked of Linux")
    import resource

    read, write = os.pipe()
    child = os.fork()
    if child == 0:
        # Python, numpy and the libraries are mapped already; of that, little is in memory.
        mapped = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
        most = mapped + MOST_MIB * 1024 * 1024
        resource.setrlimit(resource.RLIMIT_AS, (most, most))
        resource.setrlimit(resource.RLIMIT_CPU, (MOST_SECONDS, MOST_SECONDS))
        os.write(write, json.dumps(outcome(name)).encode()[:60_000])
        os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as stream:
        answer = stream.read()
    _, status, used = os.wait4(child, 0)
    found = json.loads(answer) if status == 0 else {"died": status}
    return {"outcome": found, "seconds": used.ru_utime + used.ru_stime, "mib": used.ru_maxrss / 1024}


if __name__ == "__main__":
    # Imported once, for all children.
    import openpyxl  # noqa: F401

    outcome("ferry_van_fuel.csv")
    outcome("ferry_van.toml")
    for one in sys.argv[1:]:
        print(json.dumps({"name": one, **measured(one)}), flush=True)
