"""What one checkout makes of many jobs, in one process: see ``tests/compare_results.py``, with which it is removed.

The paths of the jobs come on standard input, a line each; on standard output goes, by path, the exit status of
``check --json``, its JSON, its message, and with ``--everything`` all that `adapt`, `card` and `explain` write too.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import re
import shutil
import sys
import traceback
import zipfile
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from basemap.__main__ import main as basemap

Ran = tuple[int, str, str]


def run(*words: str) -> Ran:
    """One command: its exit status, standard output and standard error."""
    out, error = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(error):
        try:
            status = int(basemap(list(words)))
        except Exception:  # a bug of that checkout, to be shown beside the other's result
            status = 99
            traceback.print_exc(file=error)
    return status, out.getvalue(), error.getvalue()


def result(job: str, folder: Path, *, everything: bool) -> dict[str, Any]:
    """What is made of a job."""
    status, out, error = run("check", job, "--json")
    worked = out if out.startswith("{") else ""
    written = all_that_is_written(job, folder, (status, out, error)) if everything else {}
    return {"status": status, "json": worked, "error": error.strip()[-400:], "written": written}


def all_that_is_written(job: str, folder: Path, checked: Ran) -> dict[str, str]:
    """Texts and files by name; a workbook by the texts of its parts."""
    kept = folder / "written"
    ran = {"check --json": checked}
    if checked[1].startswith("{"):
        found = json.loads(checked[1])
        rpm, load = (found["tables"]["fuel"][axis] for axis in ("rpm", "load"))
        at = (str(rpm[len(rpm) // 2]), str(load[len(load) // 2]))
        ran |= {"adapt": run("adapt", job, "--out", str(kept)), "card": run("card", job),
                "explain": run("explain", job, *at)}  # fmt: skip
    written = {f"{name} ({part})": text for name, (status, out, error) in ran.items()
               for part, text in (("status", str(status)), ("output", out), ("message", error))}  # fmt: skip
    for path in sorted(kept.glob("*")) if kept.is_dir() else []:
        written |= workbook(path) if path.suffix == ".xlsx" else {path.name: path.read_bytes().decode("latin-1")}
    shutil.rmtree(kept, ignore_errors=True)
    return {name: undated(text).replace(str(folder), "FOLDER") for name, text in written.items()}


def workbook(path: Path) -> dict[str, str]:
    """The parts of a workbook, without the one that holds the time; of long ones the fingerprint."""
    with zipfile.ZipFile(path) as package:
        parts = {name: package.read(name) for name in package.namelist() if name != "docProps/core.xml"}
    return {f"{path.suffix} {name}": fingerprint(content) for name, content in parts.items()}


def fingerprint(content: bytes) -> str:
    """What is compared in place of a part of a workbook, the date left out."""
    return hashlib.sha256(undated(content.decode("utf-8", "replace")).encode()).hexdigest()


def undated(text: str) -> str:
    """The text without today's date."""
    return re.sub(re.escape(datetime.now(UTC).date().isoformat()), "DATE", text)


if __name__ == "__main__":
    asked = "--everything" in sys.argv
    place = Path(sys.argv[-1])
    sys.stdout.write(json.dumps({job: result(job, place, everything=asked) for job in sys.stdin.read().splitlines()}))
