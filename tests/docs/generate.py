"""Write the generated blocks of the documentation: ``python -m tests.docs.generate``.

A block stands between ``<!-- generated: NAME -->`` and ``<!-- end -->``. What the name asks for is worked out by the
program itself, and a test holds the page against it.
"""

from __future__ import annotations

import re
import tempfile
import textwrap
from collections.abc import Callable
from contextlib import chdir
from pathlib import Path
from typing import Any

import pytest

from tests.cli.conftest import leave_out_workbook_and_page
from tests.cli.program import PLAIN, run
from tests.docs.markdown import ROOT, generated_blocks, pages, read, with_generated

SAMPLES = ROOT / "sample_tables"
WIDTH = 100
INDENT = 26


def printed(*arguments: str) -> str:
    """What a command prints, run beside the samples at 80 columns without colour; a bad input or a bug raises."""
    with chdir(SAMPLES):
        done = run(*arguments, environment={**PLAIN, "TERMINAL_WIDTH": "80"})
    if done.status not in (0, 3, 4):
        raise RuntimeError(f"{' '.join(arguments)} ended with {done.status}: {done.stderr}")
    return done.stdout


def commands() -> dict[str, Any]:
    """All commands by name, as the program has them."""
    from basemap.cli.app import program

    return dict(program.commands)


def command_help(name: str) -> str:
    """What a command is for and takes. Laid out here, so that it does not change with the version of a library."""
    command = commands()[name]
    arguments = [param for param in command.params if param.param_type_name == "argument"]
    options = [param for param in command.params if param.param_type_name == "option"]
    usage = " ".join([f"basemap {name}", *(_argument(param) for param in arguments), "[OPTIONS]"])
    paragraphs = [paragraph.strip("\n") for paragraph in re.split(r"\n\s*\n", command.help)]
    rows = [(_argument(param), _words(param)) for param in arguments if param.help]
    rows += [(_option(param), _words(param)) for param in options]
    return "\n".join([usage, "", *("\n".join([_paragraph(one), ""]) for one in paragraphs), *_aligned(rows)])


def _argument(param: Any) -> str:
    shown = param.metavar or param.name.upper()
    return str(shown if param.required else f"[{shown}]")


def _option(param: Any) -> str:
    spelled = ", ".join(param.opts)
    return spelled if param.is_flag else f"{spelled} {param.metavar or 'TEXT'}"


def _words(param: Any) -> str:
    has_default = param.default not in (None, False) and not callable(param.default) and param.show_default
    return f"{param.help} [default: {param.default}]" if has_default else str(param.help)


def _paragraph(text: str) -> str:
    if "\b" in text:
        return "\n".join(line for line in text.splitlines() if line.strip() != "\b")
    return textwrap.fill(" ".join(text.split()), WIDTH)


def _aligned(rows: list[tuple[str, str]]) -> list[str]:
    lines = []
    for left, right in rows:
        first, *rest = textwrap.wrap(right, WIDTH - INDENT) or [""]
        head = [f"  {left:<{INDENT - 2}}{first}"] if len(left) < INDENT - 3 else [f"  {left}", " " * INDENT + first]
        lines += [*head, *(" " * INDENT + line for line in rest)]
    return lines


def ranges_table() -> str:
    """The values that are taken for real, as a table of the page on the job file; keys of one range in one row."""
    from basemap.adaptation.quantities.registry import ALL

    keys: dict[tuple[str, str], list[str]] = {}
    for quantity in ALL:
        both = [one for one in (quantity.range, quantity.by_mass) if one is not None]
        ends = ", ".join(one.low for one in both), ", ".join(one.high for one in both)
        keys.setdefault(ends, []).append(f"`{quantity.key}`")
    rows = [f"| {' '.join(names)} | {low} | {high} |" for (low, high), names in keys.items()]
    return "\n".join(["| key | from | to |", "|---|---|---|", *rows])


def defaults_table() -> str:
    """The program's defaults as a table of the page on the job file."""
    from basemap.adaptation.quantities.registry import DEFAULTS

    lines = ["| key | when | value | why | what it moves |", "|---|---|---|---|---|"]
    for default in DEFAULTS.values():
        key = f"`{default.key}`" if default.key else "any hardware of the donor"
        when = {"either": 'left out or `"unknown"`', "unknown": '`"unknown"`'}.get(default.when, default.when)
        lines.append(f"| {key} | {when} | {default.text} | {default.why} | {default.moves} |")
    return "\n".join(lines)


def spreads_table() -> str:
    """The spreads that are assumed where a job gives none."""
    from basemap.adaptation.quantities.registry import SPREADS

    lines = ["| quantity | half-width | why | measured |", "|---|---|---|---|"]
    for name, usual in SPREADS.items():
        size = {"%": 100.0, "vol %": 100.0, "ms": 1e3, "ms/bar": 1e3, "kPa": 1e-3}.get(usual.unit, 1.0)
        half_width, measured = (f"{size * value:g} {usual.unit}" for value in (usual.half_width, usual.measured_to))
        lines.append(f"| {name} | {half_width} | {usual.reason} | {measured} |")
    return "\n".join(lines)


def figures_only_table() -> str:
    """Why a whole workbook may hold figures only."""
    from basemap.workbook.core.not_live import FIGURES_ONLY

    return "\n".join(["| where | because |", "|---|---|", *(f"| {one.words} | {one.why} |" for one in FIGURES_ONLY)])


def as_issued_table() -> str:
    """What is as issued in a workbook that follows an edit."""
    from basemap.workbook.core.not_live import AS_ISSUED_PARTS

    rows = [f"| {one.what} | {one.why} |" for one in AS_ISSUED_PARTS]
    return "\n".join(["| as issued | because |", "|---|---|", *rows])


def section(text: str, start: str) -> str:
    """One section of what a command prints: from the line that begins with `start` to the next heading."""
    lines = text.splitlines()
    first = next(number for number, line in enumerate(lines) if line.lower().startswith(start.lower()))
    rest = lines[first + 1 :]
    heading = re.compile(r"[A-Z].*")
    end = next((number for number, line in enumerate(rest) if heading.fullmatch(line)), len(rest))
    return "\n".join([lines[first], *rest[:end]])


_TABLES: dict[str, Callable[[], str]] = {
    "ranges": ranges_table, "defaults": defaults_table, "spreads": spreads_table,
    "figures only": figures_only_table, "as issued": as_issued_table,
}  # fmt: skip


def wanted(name: str) -> str:
    """What the block of this name has to hold."""
    if name in _TABLES:
        return _TABLES[name]()
    if name.startswith("help of "):
        text = command_help(name.removeprefix("help of "))
    elif name.startswith("settings of "):
        text = section(without_writing(name.removeprefix("settings of ")), "settings to enter")
    elif name.startswith("top of basemap"):
        text = printed(*name.split()[3:]).partition("\nHOW SURE")[0]
    elif name.startswith("basemap"):
        text = printed(*name.split()[1:])
    else:
        raise ValueError(f"nothing is generated under the name {name!r}")
    return "\n".join(line.rstrip() for line in text.splitlines()).strip("\n")


def without_writing(job: str) -> str:
    """What ``basemap adapt`` prints, its files in a folder that goes away."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        leave_out_workbook_and_page(patch)
        return printed("adapt", job, "--all", "--out", str(Path(folder) / "out"))


def stale(path: Path) -> dict[str, str]:
    """Blocks of a page that are not what they have to be, with what they should hold."""
    found = {name: (wanted(name), held) for name, held in generated_blocks(read(path)).items()}
    return {name: right for name, (right, held) in found.items() if right != held}


def main() -> None:
    """Rewrite every stale block."""
    for path in pages():
        text = read(path)
        for name, content in stale(path).items():
            text = with_generated(text, name, content)
            print(f"{path.relative_to(ROOT)}: {name}")
        path.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
