"""Start-up time is a feature: what answers at once loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

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


def heavy_modules_after(code: str, heavy: tuple[str, ...] = HEAVY) -> list[str]:
    """The heavy modules that a fresh interpreter holds once it has run `code`."""
    script = RUN.format(code=code, heavy=heavy)
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, encoding="utf-8", check=True)
    return done.stdout.splitlines()[-1].split()[1:]


def command(*words: str) -> str:
    """Code that runs one command."""
    return f"sys.argv = ['basemap', *{words!r}]; from basemap.__main__ import main; main()"


@pytest.mark.parametrize("code", ["import basemap", "import basemap; basemap.__version__"])
def test_importing_the_package_loads_nothing_heavy(code: str) -> None:
    assert heavy_modules_after(code) == []


@pytest.mark.parametrize("word", ["--version", "--help"])
def test_what_answers_at_once_loads_nothing_heavy(word: str) -> None:
    assert heavy_modules_after(command(word)) == []


@pytest.mark.parametrize("name", ["check", "adapt", "new", "fuel"])
def test_the_help_of_a_command_loads_nothing_heavy_of_ours(name: str) -> None:
    # typer itself loads pydantic for an argument that is a path, where pydantic is installed.
    assert set(heavy_modules_after(command(name, "--help"))) <= {"pydantic"}


def test_a_job_without_drives_loads_nothing_that_learns_from_them() -> None:
    of_drives = ("basemap.belief.update", "basemap.belief.faults", "basemap.logs.columns", "basemap.jobfile.drives")
    code = f"import basemap; basemap.adapt(basemap.load_job({str(SAMPLE)!r}))"
    assert heavy_modules_after(code, (*of_drives, "basemap.belief.bands")) == ["basemap.belief.bands"]


def test_the_measurement_sees_a_heavy_module() -> None:
    assert heavy_modules_after("import openpyxl") == ["numpy", "openpyxl", "defusedxml"]
