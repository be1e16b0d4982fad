"""What a tuner changed in a workbook goes into the job file: the new job gives what the workbook showed."""

from __future__ import annotations

import json
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tomlkit

import basemap
from basemap.adaptation.pipeline import compute
from basemap.errors import InputError
from basemap.jobfile.edited import edited
from basemap.jobfile.load import build_job
from basemap.model.job import Job
from basemap.model.result import Computed, Result
from basemap.tables.package import Sheet, Stored
from basemap.tables.read import read_grid
from basemap.workbook import write_workbook
from basemap.workbook.returned.book import ReturnedBook
from basemap.workbook.returned.carried import Carried, carried, refuse_unlike
from basemap.workbook.returned.edits import WorkbookDifference, compare_books
from tests.workbook.edited import Entries
from tests.workbook.edited import edited as with_edits
from tests.workbook.office import Entry, Office, needs_libreoffice
from tests.workbook.variants import VARIANTS, Variant
from tests.workbook.variants import issued as issued_variant
from tests.workbook.what_if import changes_of, in_turn, job_again, together

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "sample_tables" / "ferry_van.toml"


def issued_book(result: Result, folder: Path) -> ReturnedBook:
    write_workbook(result, folder / "issued.xlsx")
    return ReturnedBook.of(folder / "issued.xlsx")


def with_stored(book: ReturnedBook, cells: dict[tuple[str, int, int], Stored | None]) -> ReturnedBook:
    """The workbook as it would come back with some cells changed."""
    sheets: dict[str, Sheet] = dict(book.book.sheets)
    for (name, row, col), stored in cells.items():
        area = book.names[name]
        sheet, at = sheets[area.sheet], (area.row + row, area.col + col)
        held = {place: one for place, one in sheet.cells.items() if place != at}
        if stored is not None:
            held[at] = stored
        formulas = {place: one for place, one in sheet.formulas.items() if place != at}
        sheets[area.sheet] = replace(sheet, cells=held, formulas=formulas)
    return replace(book, file="returned.xlsx", book=replace(book.book, sheets=sheets))


def typed(book: ReturnedBook, entries: tuple[Entry, ...]) -> ReturnedBook:
    return with_stored(
        book,
        {
            (name, row, col): Stored(value, "s" if isinstance(value, str) else "n", "General")
            for name, row, col, value in entries
        },
    )


def new_job(text: str, old: Computed, found: WorkbookDifference, folder: Path) -> tuple[Carried, Computed]:
    """The job that is carried back, held against the workbook as the command does it."""
    done = carried(found, old)
    new = compute(build_job(tomllib.loads(edited(text, done.edits)), folder, "new.toml"))
    refuse_unlike(found, done, new)
    return done, new


def _at(book: ReturnedBook, name: str, row: int, col: int) -> tuple[str, int, int]:
    area = book.names[name]
    return area.sheet, area.row + row, area.col + col


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Computed, ReturnedBook]:
    result = basemap.adapt(basemap.load_job(DEMO))
    return result, issued_book(result, tmp_path_factory.mktemp("demo"))


@pytest.mark.law
@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: variant.name)
def test_every_input_that_may_be_changed_is_carried_to_its_key(variant: Variant, tmp_path: Path) -> None:
    """The new job is the one in which a person would have changed the key by hand.

    Several come back in one workbook, one of each section of the job file; each is then told apart by its own keys.
    """
    written = issued_variant(variant)
    (tmp_path / "issued.xlsx").write_bytes(written.content)
    result, issued = written.result, ReturnedBook.of(tmp_path / "issued.xlsx")
    variant.write_tables(tmp_path)
    text = tomlkit.dumps(json.loads(json.dumps(variant.data)))
    changes = in_turn(variant, (one for one in changes_of(result) if one.old_cell is None))
    following = [one for one in changes if all(issued.is_formula(_at(issued, *entry[:3])) for entry in one.cells)]
    for unit in together(one for one in changes if one not in following):
        done, new = new_job(text, result, compare_books(issued, typed(issued, unit.cells)), tmp_path)
        by_hand = job_again(variant, unit, tmp_path)
        assert done.left == (), unit.what
        # Each by its own cell; shares that were typed with the word are carried with it.
        assert {at[:3] for at in unit.cells if "_part_" not in at[0]} <= done.wanted.keys(), unit.what
        assert _values(new.job) == pytest.approx(_values(by_hand), rel=1e-9, nan_ok=True), unit.what
        assert np.allclose(new.table.new, compute(by_hand).table.new, rtol=1e-9, atol=0.0, equal_nan=True), unit.what
    for one in following:
        done = carried(compare_books(issued, typed(issued, one.cells)), result)
        assert [why for _, why in done.left] == ["it follows from the inputs: change those"]
        assert done.changed == ()


def _values(job: Job) -> dict[str, float]:
    """What a job states, by its keys, SI."""
    return {key: one.value for key, one in job.inputs.items()}


def test_the_words_around_a_number_are_kept(demo: tuple[Computed, ReturnedBook]) -> None:
    text = DEMO.read_text(encoding="utf-8")
    result, issued = demo
    entries: tuple[Entry, ...] = (
        ("target_static_flow", 0, 0, "612,5"), ("target_rail_pressure", 0, 0, "3.6 bar"), ("donor_battery", 0, 0, 14.0),
        ("target_battery", 0, 0, 14.0), ("target_barometer", 0, 0, 99.0), ("target_dead_time_given", 1, 0, 2.1),
        ("target_part_petrol", 0, 0, 25.0), ("target_part_ethanol", 0, 0, 75.0), ("donor_corrects_rail_pressure", 0, 0, "yes"),
        ("donor_fuel", 0, 0, "E10"), ("donor_part_toluene", 0, 0, 3.0), ("old_table", 1, 1, 44.0), ("new_table", 3, 3, 50.0),
    )  # fmt: skip
    done, _ = new_job(text, result, compare_books(issued, typed(issued, entries)), DEMO.parent)
    was, now = text.splitlines(), edited(text, done.edits).splitlines()
    assert [line.split(" # from")[0] for line in now if line not in was] == [
        'battery = "14 V"',  # of both sides, as both cells say the same
        'blend = "E10"',
        "corrects_rail_pressure = true",
        'static_flow = "612.5 cc/min ± 2 %"',
        'time = ["2.95 ms", "2.1 ms", "1.42 ms", "1.02 ms", "0.80 ms"]',
        'parts = { petrol = 25, ethanol = "75 ± 3" } # measured with a tester; the pump only says E85; from returned.xlsx, '
        f"cell {_cell(issued, 'target_part_ethanol')}; from returned.xlsx, cell {_cell(issued, 'target_part_petrol')}",
        'rail_pressure = "3.6 bar"',
        "[target.conditions]",
        'barometer = "99 kPa"',
    ]
    assert f'static_flow = "612.5 cc/min ± 2 %" # from returned.xlsx, cell {_cell(issued, "target_static_flow")}' in now
    assert [(edit.area, why) for edit, why in done.left] == [
        ("old_table", "it is in the file of the donor's table: change it there"),
        ("new_table", "it follows from the inputs: change those"),
        ("donor_part_toluene", "it has no effect: the fuel is E10"),
    ]


def _cell(book: ReturnedBook, name: str) -> str:
    from basemap.workbook.returned.book import address

    return address(book.first(name))


WRONG: tuple[tuple[str, Stored | None, str], ...] = (
    ("target_static_flow", Stored("60 lb/h", "s", "General"), "holds “60 lb/h”: expected a number in cc/min"),
    ("target_static_flow", Stored("2,500", "s", "General"), "holds “2,500”: expected a number in cc/min"),
    ("target_static_flow", Stored(True, "b", "General"), "holds “True”: expected a number in cc/min"),
    ("target_static_flow", Stored("#N/A", "e", "General"), "holds “#N/A”: expected a number in cc/min"),
    ("target_static_flow", Stored(int("9" * 400), "n", "General"), f"holds “{'9' * 60}…”: expected a number in cc/min"),
    ("target_static_flow", Stored("x" * 30_000, "s", "General"), f"holds “{'x' * 60}…”: expected a number in cc/min"),
    ("target_static_flow", Stored(6.1, "n", "0%"), "holds “6.1”: expected a number in cc/min"),
    ("target_static_flow", None, "is empty: expected a number in cc/min"),
    ("target_cylinders", Stored(4.5, "n", "General"), "holds “4.5”: expected a whole number"),
    ("donor_corrects_rail_pressure", Stored("oui", "s", "General"), "holds “oui”: expected one of: yes, no"),
    ("target_fuel", None, "is empty: expected one of: "),
)  # fmt: skip


@pytest.mark.parametrize(
    ("name", "stored", "said"), WRONG, ids=[f"{name}-{index}" for index, (name, _, _) in enumerate(WRONG)]
)
def test_what_no_input_can_be_is_refused_in_one_sentence(
    name: str, stored: Stored | None, said: str, demo: tuple[Computed, ReturnedBook]
) -> None:
    computed, issued = demo
    with pytest.raises(InputError) as refused:
        carried(compare_books(issued, with_stored(issued, {(name, 0, 0): stored})), computed)
    assert str(refused.value).startswith(f"returned.xlsx: cell {_cell(issued, name)}: {said}")
    assert "\n" not in str(refused.value)


def test_a_number_out_of_its_range_is_refused_with_the_reason(demo: tuple[Computed, ReturnedBook]) -> None:
    computed, issued = demo
    for name, value in (("target_static_flow", 90_000.0), ("target_dead_time_given", 400.0)):
        with pytest.raises(InputError, match=rf"cell .*: holds {value:g}, outside .* to .*: ."):
            carried(compare_books(issued, typed(issued, ((name, 0, 0, value),))), computed)


def test_a_formula_in_an_input_is_refused(demo: tuple[Computed, ReturnedBook]) -> None:
    computed, issued = demo
    returned = typed(issued, (("target_static_flow", 0, 0, 600.0),))
    at = returned.first("target_static_flow")
    returned.book.sheets[at[0]].formulas[at[1:]] = "=500+100"
    with pytest.raises(InputError) as refused:
        carried(compare_books(issued, returned), computed)
    assert str(refused.value) == (
        f"returned.xlsx: cell {_cell(issued, 'target_static_flow')}: holds a formula: expected a number in cc/min; "
        "type its result as a number"
    )


def test_a_hostile_name_of_the_file_stays_in_its_comment(demo: tuple[Computed, ReturnedBook]) -> None:
    computed, issued = demo
    returned = replace(typed(issued, (("target_static_flow", 0, 0, 600.0),)), file='x/a\n[donor]\x1b"' + "b" * 500)
    done = carried(compare_books(issued, returned), computed)
    text = DEMO.read_text(encoding="utf-8")
    assert tomllib.loads(edited(text, done.edits)) == _with_flow(tomllib.loads(text))


def _with_flow(data: dict[str, Any]) -> dict[str, Any]:
    data["target"]["injectors"]["static_flow"] = "600 cc/min ± 2 %"
    return data


def test_another_job_file_than_the_workbook_was_issued_from_is_seen(demo: tuple[Computed, ReturnedBook]) -> None:
    computed, issued = demo
    other = typed(issued, (("target_static_flow", 0, 0, 600.0),))
    with pytest.raises(InputError) as refused:
        carried(compare_books(other, issued), computed)
    assert str(refused.value) == (
        "returned.xlsx: does not hold target_static_flow as its job file does: another version of this program wrote it; "
        'issue it again with "basemap adapt"'
    )


def test_an_altitude_of_both_sides_that_is_changed_for_one(tmp_path: Path) -> None:
    """The barometer that follows from an altitude is none that the job states."""
    job = ROOT / "tests" / "jobs" / "valid" / "boosted_in_psi.toml"
    result = basemap.adapt(basemap.load_job(job))
    issued = issued_book(result, tmp_path)
    found = compare_books(issued, typed(issued, (("donor_altitude", 0, 0, 600.0),)))
    done, new = new_job(job.read_text(encoding="utf-8"), result, found, job.parent)
    assert [(one.key, one.before, one.after) for one in done.changed] == [
        ("donor.conditions.altitude", "500 m", "600 m")
    ]
    # ISO 2533: 94.322 kPa at 600 m.
    assert new.job.donor.hardware.conditions.barometer_pa == pytest.approx(94_322, abs=1.0)


@needs_libreoffice
@pytest.mark.libreoffice
@pytest.mark.law
def test_the_new_job_gives_what_libreoffice_calculated(
    office: Office, demo: tuple[Computed, ReturnedBook], tmp_path: Path
) -> None:
    """Two calculators: the tuner's spreadsheet after the edits, and a fresh run of the job that carries them."""
    result, issued = demo
    entries: Entries = {
        ("target_static_flow", 0, 0): 612.5, ("target_rail_pressure", 0, 0): 3.6, ("target_battery", 0, 0): 13.1,
        ("target_dead_time_given", 3, 0): 1.05, ("target_part_petrol", 0, 0): 25, ("target_part_ethanol", 0, 0): 75,
        ("donor_fuel", 0, 0): "E10", ("donor_corrects_rail_pressure", 0, 0): "yes",
    }  # fmt: skip
    back = with_edits(Path(issued.file), tmp_path / "returned.xlsx", entries)
    saved, text = office.save(back, tmp_path / "saved.xlsx"), DEMO.read_text(encoding="utf-8")
    done, new = new_job(text, result, compare_books(issued, ReturnedBook.of(saved)), DEMO.parent)
    assert done.left == ()
    assert len(done.changed) == len(entries)
    assert not np.allclose(new.table.new, result.table.new, rtol=1e-3)
    assert np.allclose(read_grid(saved).values, new.table.new, rtol=1e-9, atol=0.0)
