"""Start-up time is a feature: what answers at once loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from basemap.cli.app import COMMANDS

SAMPLE = Path(__file__).parents[2] / "sample_tables" / "ferry_van.toml"
HEAVY = ("numpy", "pandas", "openpyxl", "xlsxwriter", "pint", "pydantic", "defusedxml", "jinja2", "tomlkit")

RUN = """
import sys
try:
    {code}
except SystemExit as stopped:
    assert not stopped.code, stopped.code
print("LOADED", *(name for name in {heavy!r} if name in sys.modules))
"""


LISTED = """
import sys
for step in {steps!r}:
    exec(step)
    print("LOADED", step + ":", *(name for name in {heavy!r} if name in sys.modules))
"""


def heavy_modules_after(code: str, heavy: tuple[str, ...] = HEAVY) -> list[str]:
    """The heavy modules that a fresh interpreter holds once it has run `code`."""
    script = RUN.format(code=code, heavy=heavy)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, encoding="utf-8", check=True)
    return done.stdout.splitlines()[-1].split()[1:]


def test_what_answers_at_once_loads_nothing_heavy() -> None:
    """One after the other in one process: whatever is loaded stays, so none of them loads it."""
    words = [("--version",), ("--help",), *((name, "--help") for name in sorted(COMMANDS))]
    steps = ["import basemap", "basemap.__version__", "from basemap.__main__ import main"]
    steps += [f"assert main({list(one)!r}) == 0" for one in words]
    script = LISTED.format(steps=steps, heavy=(*HEAVY, "rich"))
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, encoding="utf-8", check=True)
    told = [line.removeprefix("LOADED ") for line in done.stdout.splitlines() if line.startswith("LOADED ")]
    assert told == [f"{step}:" for step in steps]


def test_a_job_without_drives_loads_nothing_that_learns_from_them() -> None:
    of_drives = (
        *("basemap.belief.update", "basemap.belief.faults", "basemap.logs.columns", "basemap.jobfile.drives"),
        *("basemap.model.drive", "basemap.model.learnt"),
    )
    code = f"import basemap; basemap.adapt(basemap.load_job({str(SAMPLE)!r}))"
    assert heavy_modules_after(code, (*of_drives, "basemap.belief.bands")) == ["basemap.belief.bands"]


def test_a_job_without_sensors_does_without_masked_arrays() -> None:
    code = f"import basemap; basemap.adapt(basemap.load_job({str(SAMPLE)!r}))"
    assert heavy_modules_after(code, ("numpy", "numpy.ma")) == ["numpy"]


def test_the_measurement_sees_a_heavy_module() -> None:
    assert heavy_modules_after("import openpyxl") == ["numpy", "openpyxl", "defusedxml"]
