"""``python -m benchmarks``: one table of ratios, each measured side by side with its floor in the same run.

``python -m benchmarks learn`` is a table of its own: simulated drives (`--help` says more).

Names of parts after it, such as ``python -m benchmarks model rank``, measure those only; ``rank`` takes most of a
minute and is left out unless it is named. ``python -m benchmarks honesty`` measures no time: it holds what the program
says of itself against pairs of engines that are known, in some minutes.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

from rich.console import Console
from rich.table import Table

from benchmarks import honesty, model, processes, ranking, resampling, workbook
from benchmarks.measure import Row

PARTS = {"processes": processes, "model": model, "resampling": resampling, "workbook": workbook, "rank": ranking}
ONLY_IF_NAMED = ("rank",)
NOTE = (
    "Least of many repetitions, ours and its floor in turn. Processor time, of whole processes too, with bytecode "
    "compiled as an installation leaves it."
)
WIDTH = 80
HONESTY_WIDTH = 160


def main() -> None:
    """Measure everything, or the parts that are named, and print the table."""
    if sys.argv[1:2] == ["learn"]:
        from benchmarks import learn

        learn.main(sys.argv[2:])
        return
    if sys.argv[1:] == ["honesty"]:
        with tempfile.TemporaryDirectory() as folder:
            honesty.show(Console(width=HONESTY_WIDTH, highlight=False), Path(folder))
        return
    wanted = sys.argv[1:] or [name for name in PARTS if name not in ONLY_IF_NAMED]
    if unknown := sorted(set(wanted) - PARTS.keys()):
        sys.exit(f"no part is called {unknown[0]}: expected some of {', '.join(PARTS)}")
    console = Console(width=WIDTH, highlight=False)
    table = Table(caption=f"{NOTE} {_load()}", width=WIDTH)
    table.add_column("what / its floor")
    for heading in ("ours", "floor", "ratio"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column("goal", no_wrap=True)
    with tempfile.TemporaryDirectory() as folder, console.status("Measuring"):
        for name in wanted:
            for row in PARTS[name].rows(Path(folder)):
                table.add_row(row.name, row.ours, row.floor, row.found, _goal(row))
    console.print(table)


def _goal(row: Row) -> str:
    if row.met is None:
        return row.goal
    return row.goal if row.met else f"{row.goal} ✗"


def _load() -> str:
    """How busy the machine is."""
    if not hasattr(os, "getloadavg"):
        return f"{os.cpu_count()} cores."
    return f"{os.cpu_count()} cores, {os.getloadavg()[0]:.1f} tasks waiting for one."


if __name__ == "__main__":
    main()
