"""Every number of two checkouts, job by job: for changes that must not change any. Removed at the end of the redesign.

``python -m tests.compare_results --base DIR`` runs ``check --json`` of this checkout and of the other one over the
samples, the job files of the tests and random jobs, and compares every number to the last bit, every name and every
null; the date, the version and sentences are left out. ``--bytes`` runs `adapt`, `card` and `explain` too, and compares
everything byte for byte but for the date: the JSON, the text, the grid files, the workbook, the messages. The exit
status is 1 if anything differs.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

IN_JOBS = {"two_slope": "bent_line", "low_flow": "below", "high_flow": "above", "break_mass": "at_mass"}
"""Keys of the job file that were renamed since: old name → new name. A base that has the new names keeps its own."""
IN_TEXTS = {
    '"low_flow"': '"flow_below_bend"',
    '"break_mass"': '"mass_at_bend"',
    "low slope": "slope below the bend",
    "break mass": "mass at the bend",
}
"""Names among the texts of the JSON that were renamed since, besides those of `IN_JOBS`: old → new."""
RENAMED: dict[str, str] = {}
"""Keys of the JSON that were renamed since: old name → new name."""
ADDED: set[str] = set()
"""Keys of the JSON that are new, and are not looked for in the base."""
REMOVED: set[str] = set()
"""Keys of the JSON that went."""
SENTENCES = {
    "date", "version", "message", "remedy", "source", "why", "moves", "advice", "notes", "cancelled", "basis", "value",
    "text", "file", "sha256",
}  # fmt: skip
"""Keys whose texts are not compared; numbers under them are."""

HERE = Path(__file__).resolve().parents[1]
FOLDERS = ("sample_tables", "sample_tables/refused", "tests/jobs/valid", "tests/jobs/invalid")
RANDOM_JOBS, SEED = 200, 20261130
SHOWN = 20

Found = dict[str, dict[str, Any]]


def main() -> int:
    """Compare, print and say whether anything differs."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    options.add_argument("--base", type=Path, required=True, metavar="DIR", help="the other checkout")
    options.add_argument("--bytes", action="store_true", help="compare all that is written, byte for byte")
    options.add_argument(
        "--jobs", type=int, default=RANDOM_JOBS, metavar="N", help="how many random jobs; by default %(default)s"
    )
    asked = options.parse_args()
    base = asked.base.resolve()
    if not (base / "basemap" / "__init__.py").is_file():
        options.error(f"{base} holds no basemap")
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        jobs, theirs = written_for_both(base, folder, asked.jobs)
        with ThreadPoolExecutor(2) as both:
            old, found = both.map(
                lambda one: results(one[0], one[1], folder, everything=asked.bytes), ((base, jobs), (HERE, theirs))
            )
        new = {str(job): found[str(own)] for job, own in zip(jobs, theirs, strict=True)}
    differences = [line for job in old for line in compared(job, old[job], new[job], everything=asked.bytes)]
    for line in differences[:SHOWN]:
        print(line)
    print(summary(old, new, len(differences)))
    return 1 if differences else 0


def written_for_both(base: Path, folder: Path, count: int) -> tuple[list[Path], list[Path]]:
    """Every job as the base has its keys, and the same with the keys that are in force here."""
    made = folder / "random"
    made.mkdir()
    writes = f"from tests.random_job_files import *; write_random_jobs(Path({str(made)!r}), {count}, {SEED})"
    subprocess.run([sys.executable, "-c", writes], cwd=base, env={**os.environ, "PYTHONPATH": str(base)}, check=True)
    jobs, theirs = [], []
    for number, old in enumerate([*(base / one for one in FOLDERS), made]):
        new = folder / str(number) / old.name
        shutil.copytree(old, new)
        for job in sorted(old.glob("*.toml")):
            own = new / job.name
            text = job.read_text(encoding="utf-8")
            own.write_text(in_new_keys(text) if knows_old_keys(base) else text, encoding="utf-8")
            jobs.append(job)
            theirs.append(own)
    return jobs, theirs


def knows_old_keys(base: Path) -> bool:
    """Whether the keys of `IN_JOBS` were renamed since."""
    return not (base / "basemap" / "jobfile" / "renamed.py").is_file()


def in_new_keys(text: str) -> str:
    """A text of the base with the keys that were renamed since."""
    return re.sub(rf"\b({'|'.join(IN_JOBS)})\b", lambda found: IN_JOBS[found[1]], text)


def in_new_names(text: str) -> str:
    """JSON of the base with what was renamed since."""
    for old, new in IN_TEXTS.items():
        text = text.replace(old, new)
    return in_new_keys(text)


def results(checkout: Path, jobs: list[Path], folder: Path, *, everything: bool) -> Found:
    """What a checkout makes of every job, worked out in one process of its own."""
    here = Path(__file__).with_name("compare_worker.py")
    command = [sys.executable, str(here), *(["--everything"] if everything else [])]
    environment = {**os.environ, "PYTHONPATH": str(checkout), "COLUMNS": "100", "PYTHONHASHSEED": "0"}
    with tempfile.TemporaryDirectory(dir=folder) as out:
        ran = subprocess.run(
            [*command, out],
            cwd=checkout,
            env=environment,
            input="\n".join(map(str, jobs)),
            text=True,
            capture_output=True,
            check=False,
        )
    if ran.returncode != 0:
        sys.exit(f"{checkout} failed:\n{ran.stderr}")
    found: Found = json.loads(ran.stdout)
    return found


def compared(job: str, old: dict[str, Any], new: dict[str, Any], *, everything: bool) -> Iterator[str]:
    """What differs between the results of a job, a line each."""
    name = "/".join(Path(job).parts[-2:])
    if old["status"] != new["status"]:
        yield f"{name}: exit status {old['status']} → {new['status']} {new['error'] or old['error']}"
        return
    if old["json"] and new["json"]:
        for line in differing(json.loads(in_new_names(old["json"])), json.loads(new["json"]), "$"):
            yield f"{name}: {line}"
    if everything:
        for part in sorted({*old["written"], *new["written"]}):
            before, after = old["written"].get(part, ""), new["written"].get(part, "")
            if before != after:
                yield f"{name}: {part} {first_difference(before, after)}"


def differing(old: Any, new: Any, path: str) -> Iterator[str]:
    """Numbers, names and nulls that differ between two values of JSON."""
    if isinstance(old, dict) and isinstance(new, dict):
        yield from differing_keys({RENAMED.get(key) or key: value for key, value in old.items()}, new, path)
    elif isinstance(old, list) and isinstance(new, list):
        if len(old) != len(new):
            yield f"{path} has {len(old)} → {len(new)} items"
        for index, (before, after) in enumerate(zip(old, new, strict=False)):
            yield from differing(before, after, f"{path}[{index}]")
    elif type(old) is not type(new) or old != new or repr(old) != repr(new):
        yield f"{path} {old!r} → {new!r}"


def differing_keys(old: dict[str, Any], new: dict[str, Any], path: str) -> Iterator[str]:
    for key in [*old, *(key for key in new if key not in old)]:
        if (key in REMOVED and key not in new) or (key in ADDED and key not in old):
            continue
        if key not in old or key not in new:
            yield f"{path}.{key} is {'new' if key not in old else 'gone'}"
        elif key not in SENTENCES or not (is_text(old[key]) and is_text(new[key])):
            yield from differing(old[key], new[key], f"{path}.{key}")


def is_text(value: Any) -> bool:
    """Whether it holds texts and nothing else."""
    if isinstance(value, (list, dict)):
        return all(map(is_text, value.values() if isinstance(value, dict) else value))
    return isinstance(value, str)


def first_difference(old: str, new: str) -> str:
    """The first lines in which two texts differ."""
    before, after = old.splitlines(), new.splitlines()
    for index, (one, other) in enumerate(zip(before, after, strict=False)):
        if one != other:
            return f"line {index + 1}: {one[:200]!r} → {other[:200]!r}"
    return f"{len(before)} → {len(after)} lines"


def numbers_in(value: Any) -> int:
    """How many numbers a value of JSON holds."""
    if isinstance(value, (list, dict)):
        return sum(map(numbers_in, value.values() if isinstance(value, dict) else value))
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def summary(old: Found, new: Found, differences: int) -> str:
    """One line: what was compared."""
    worked = [job for job in old if old[job]["json"] and new[job]["json"]]
    numbers = sum(numbers_in(json.loads(old[job]["json"])) for job in worked)
    random_ones = sum("random_" in Path(job).name for job in worked)
    return (
        f"{len(old)} jobs compared, {len(worked)} of them worked out ({random_ones} random), {numbers} numbers, "
        f"{differences} differences"
    )


if __name__ == "__main__":
    sys.exit(main())
