"""One input changed twice: in the workbook, and in the job that it was written from."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from basemap.adaptation.pipeline import compute
from basemap.jobfile.load import build_job
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.workbook.inputs.dead_time_blocks import Block, blocks_of
from basemap.workbook.inputs.input_cell import AS_PARTS, AS_TYPED, PART_NAMES, InputCell
from basemap.workbook.inputs.inputs import input_cells
from tests.workbook.invented_job import FUEL_FILE, Grid, set_key, write_grid
from tests.workbook.office import Entry
from tests.workbook.variants import VARIANTS, Variant, adapted


@dataclass(frozen=True)
class Change:
    """A change of one input.

    Parameters
    ----------
    what
        For the test's message.
    cells
        What to type into the workbook.
    keys
        What to change in the job, by dotted key.
    old_cell
        A cell of the old table to change in its file: row, column, value.
    """

    what: str
    cells: tuple[Entry, ...]
    keys: tuple[tuple[str, Any], ...] = ()
    old_cell: tuple[int, int, float] | None = None

    @property
    def alone(self) -> bool:
        """Whether it may hide what another change does, or be refused beside it: a switch, a barometer, an old cell."""
        words = [value for _, _, _, value in self.cells if isinstance(value, str)]
        switched = bool(words) and not self.cells[0][0].endswith("_fuel")
        return switched or self.old_cell is not None or "barometer" in self.what or "altitude" in self.what

    @property
    def kind(self) -> str:
        """What it says, without numbers: the same input changed in the same way."""
        return re.sub(r"[0-9.]+", "#", self.what)

    @property
    def touches(self) -> set[str]:
        """The sections of its keys; of weather the quantity too, as a key may hold it for both sides.

        A dead time that was told follows the fitted injectors' as long as the job states none.
        """
        keys = [key for key, _ in self.keys]
        told = {key.replace(".settings.", ".injectors.").rpartition(".")[0] for key in keys if ".dead_time." in key}
        weather = {key.partition(".")[2] for key in keys if ".conditions." in key}
        return {key.rpartition(".")[0] for key in keys} | told | weather


UNCHANGED = Change("", ())


def in_turn(variant: Variant, changes: Iterable[Change]) -> list[Change]:
    """Of a job's changes those that no job before it has, and every eighth of the others, another eighth in each job."""
    turn = VARIANTS.index(variant)
    before = {kind for earlier in VARIANTS[:turn] for kind in _kinds(earlier)}
    return [one for at, one in enumerate(changes) if one.kind not in before or at % 8 == turn % 8]


@cache
def _kinds(variant: Variant) -> frozenset[str]:
    return frozenset(one.kind for one in changes_of(adapted(variant)))


def together(changes: Iterable[Change]) -> list[Change]:
    """The changes of numbers and fuels, as few at once as leave each section one of them; all others one by one.

    A table after several is right only if it is after each: no number or fuel hides what one of another section does,
    and a section that a change has to make first is made by that one alone.
    """
    units: list[list[Change]] = []
    changes = [*changes]
    donor = [one for one in changes if not one.alone and one.keys[0][0].startswith("donor.")]
    # Backwards, so that one fuel of the donor meets another of the target.
    other = [one for one in reversed(changes) if not one.alone and one not in donor]
    for one in (*donor, *other):
        free = (unit for unit in units if not any(one.touches & held.touches for held in unit))
        unit = next(free, None)
        if unit is None:
            units.append([one])
        else:
            unit.append(one)
    return [*(_of_all(unit) for unit in units), *(one for one in changes if one.alone)]


def _of_all(unit: list[Change]) -> Change:
    return Change(
        ", ".join(one.what for one in unit),
        tuple(entry for one in unit for entry in one.cells),
        tuple(key for one in unit for key in one.keys),
    )


def changes_of(result: Result) -> Iterator[Change]:
    """A change of every input that a tuner may change."""
    cells = {cell.name: cell for cell in input_cells(result.job) if cell.changeable}
    for cell in cells.values():
        if "_part_" not in cell.name and "_typed_" not in cell.name:
            yield from _of_cell(cell, cells)
    for side in ("donor", "target"):
        chosen = cells.get(f"{side}_fuel")
        if chosen is not None and chosen.value == AS_PARTS:
            yield from _of_parts(side, cells)
        if chosen is not None and chosen.value == AS_TYPED:
            yield from _of_typed(side, cells)
    for one in blocks_of(result):
        if not one.follows:
            yield from _of_dead_time(one)
    old = result.table.old
    row, col = old.shape[0] // 2, old.shape[1] // 2
    value = round(float(old[row, col]) * 1.04, 3)
    yield Change(f"old cell {row}, {col}", (("old_table", row, col, value),), old_cell=(row, col, value))


def _of_cell(cell: InputCell, cells: dict[str, InputCell]) -> Iterator[Change]:
    if isinstance(cell.value, str):
        for choice in cell.choices:
            if choice != cell.value:
                typed = ((cell.name, 0, 0, choice), *_parts_typed(cell.side, choice, cells))
                yield Change(f"{cell.name} = {choice}", typed, tuple(_choice_keys(cell, choice, cells)))
        return
    new = cell.value + 1 if cell.whole else round(cell.value * 1.03 + (0.5 if cell.value == 0 else 0.0), 6)
    yield Change(f"{cell.name} = {new}", ((cell.name, 0, 0, new),), ((cell.key, _written(new, cell)),))


def _parts_typed(side: str, choice: str, cells: dict[str, InputCell]) -> Iterator[Entry]:
    """Parts that a tuner has to type as well, where none stand there."""
    if choice == AS_PARTS:
        for name, share in parts_of(side, cells).items():
            yield f"{side}_part_{PART_NAMES[name]}", 0, 0, share


def _written(value: float, cell: InputCell) -> object:
    """A value as the job file writes it."""
    if cell.whole:
        return int(value)
    return f"{value!r} {cell.unit}" if cell.unit else value


def _choice_keys(cell: InputCell, choice: str, cells: dict[str, InputCell]) -> Iterator[tuple[str, Any]]:
    side = cell.side
    if not cell.name.endswith("_fuel"):
        words = {"yes": True, "no": False}
        yield cell.key, words.get(choice, choice)
        return
    for key in ("blend", "parts", "stoichiometric", "density", "density_at"):
        yield f"{side}.fuel.{key}", None
    if choice == AS_PARTS:
        shares = parts_of(side, cells)
        yield f"{side}.fuel.parts", {name: share for name, share in shares.items() if share}
    elif choice == AS_TYPED:
        density = cells[f"{side}_typed_density"]
        yield f"{side}.fuel.stoichiometric", float(cells[f"{side}_typed_stoichiometric"].value)
        yield f"{side}.fuel.density", f"{density.value!r} {_density_unit(density)}"
    else:
        yield f"{side}.fuel.blend", choice


def parts_of(side: str, cells: dict[str, InputCell]) -> dict[str, float]:
    """The parts as they stand, or some where none do: a fuel that was typed has none."""
    shares = {name: float(cells[f"{side}_part_{stem}"].value) for name, stem in PART_NAMES.items()}
    return shares if any(shares.values()) else shares | {"petrol": 60.0, "toluene": 25.0, "methanol": 15.0}


def _density_unit(cell: InputCell) -> str:
    return cell.unit.replace("³", "3")


def _of_parts(side: str, cells: dict[str, InputCell]) -> Iterator[Change]:
    """A share moved from the largest component to each other one; their sum stays."""
    held = {name: float(cells[f"{side}_part_{stem}"].value) for name, stem in PART_NAMES.items()}
    largest = max(held, key=lambda name: held[name])
    for name, stem in PART_NAMES.items():
        if name != largest:
            moved = held | {name: held[name] + 3.0, largest: held[largest] - 3.0}
            entries = (
                (f"{side}_part_{stem}", 0, 0, moved[name]),
                (f"{side}_part_{PART_NAMES[largest]}", 0, 0, moved[largest]),
            )
            parts = {part: share for part, share in moved.items() if share}
            yield Change(f"{side}: 3 % more {name}", entries, ((f"{side}.fuel.parts", parts),))


def _of_typed(side: str, cells: dict[str, InputCell]) -> Iterator[Change]:
    ratio, density = cells.get(f"{side}_typed_stoichiometric"), cells[f"{side}_typed_density"]
    if ratio is not None:
        new = float(ratio.value) * 0.99
        yield Change(f"{side} typed ratio", ((ratio.name, 0, 0, new),), ((ratio.key, new),))
    new = float(density.value) * 1.01
    yield Change(
        f"{side} typed density", ((density.name, 0, 0, new),), ((density.key, f"{new!r} {_density_unit(density)}"),)
    )


def _of_dead_time(one: Block) -> Iterator[Change]:
    """A voltage and a time of every dead time."""
    index = one.count // 2
    times = one.dead_time.time_s * 1e3 / one.size
    volts = one.dead_time.battery_v.copy()
    volts[index] += 0.1
    yield Change(
        f"{one.volts} {index}", ((one.volts, index, 0, float(volts[index])),),
        ((f"{one.key}.battery", [f"{float(value)!r} V" for value in volts]),),
    )  # fmt: skip
    for row in range(len(times)):
        changed = times.copy()
        changed[row, index] *= 1.002
        lists = [[f"{float(value)!r} {one.unit}" for value in line] for line in changed]
        yield Change(
            f"{one.times} {index}, {row}", ((one.times, index, row, float(changed[row, index])),),
            ((f"{one.key}.time", lists if len(lists) > 1 else lists[0]),),
        )  # fmt: skip


def run_again(variant: Variant, change: Change, folder: Path) -> Grid:
    """The new table of the changed job: all of a run but what judges it, which changes no cell."""
    return compute(job_again(variant, change, folder)).table.new


def job_again(variant: Variant, change: Change, folder: Path) -> Job:
    """The changed job, its tables in a folder."""
    # Through text, as a file is: a deep copy keeps a part that donor and target share shared, and changes both.
    data = json.loads(json.dumps(variant.data))
    for key, value in change.keys:
        set_key(data, key, value)
    variant.write_tables(folder)
    if change.old_cell is not None:
        row, col, value = change.old_cell
        cells = variant.cells
        cells[row, col] = value
        write_grid(folder / FUEL_FILE, cells, variant.load)
    return build_job(data, folder, "quay_crane.toml")
