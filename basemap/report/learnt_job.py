"""The learnt job file: the job as it was, and what the drives taught at its end."""

from __future__ import annotations

from pathlib import Path

from basemap.model.drive import COLUMNS, DriveLog, LogColumn
from basemap.model.installation import FloatArray
from basemap.model.learnt import Learnt

BEGIN = "# What drives taught. Written by basemap learn and read by it again: do not change what follows by hand."
SUFFIX = ".learnt"


def learnt_name(job: Path) -> Path:
    """Path of the learnt job: beside the job, so that its relative paths stay right; numbered from the second on.

    >>> str(learnt_name(Path("van.toml"))), str(learnt_name(Path("van.learnt.toml")))
    ('van.learnt.toml', 'van.learnt2.toml')
    """
    stem = job.stem
    base, mark, number = stem.rpartition(SUFFIX)
    if mark and (number == "" or number.isdigit()):
        return job.with_name(f"{base}{SUFFIX}{int(number or 1) + 1}.toml")
    return job.with_name(f"{stem}{SUFFIX}.toml")


def learnt_job(original: str, found: Learnt, *, has_columns: bool, written: bool) -> str:
    """Text of the learnt job.

    Parameters
    ----------
    original
        Text of the job file that `learn` was given.
    has_columns
        Whether that file states what the columns of a log are.
    written
        Whether the new table was written, so that it is the one that will be loaded.
    """
    assert found.table is not None
    kept = original.split(BEGIN)[0].rstrip()
    lines = [kept, "", BEGIN]
    if not has_columns:
        lines += ["", "[log.columns]", *(_column(name, one) for name, one in found.columns.items())]
    lines += ["", "[learnt]"]
    if found.proved:
        lines.append("probe_proved = [0.8, 1.0]" if not found.proved_at else f"probe_proved = {_row(found.proved_at)}")
    kinds = {event.kind.replace(" ", "-") for event in found.events if event.stop}
    crossed = [hold.name for hold in found.holds if hold.name in kinds]
    if crossed:
        lines.append(f"crossed = [{', '.join(_text(name) for name in crossed)}]")
    cells = found.table.new if written else found.table.before
    lines += _cells("loaded", cells)
    if found.begun_with is not None:
        lines += _cells("begun_with", found.begun_with)
    for drive in found.logs:
        lines += ["", "[[learnt.logs]]", *_drive(drive)]
    return "\n".join(lines) + "\n"


def _cells(name: str, cells: FloatArray) -> list[str]:
    return [f"{name} = [", *(f"  {_row(row.tolist())}," for row in cells), "]"]


def _column(name: str, column: LogColumn) -> str:
    parts = [f"column = {_text(column.column)}"]
    if column.unit is not None:
        parts.append(f"unit = {_text(column.unit)}")
    if column.basis is not None:
        parts.append(f"basis = {column.basis!r}")
    if column.dead_time_included is not None:
        parts.append(f"dead_time_included = {str(column.dead_time_included).lower()}")
    return f"{name} = {{ {', '.join(parts)} }}"


def _drive(drive: DriveLog) -> list[str]:
    head = [f"file = {_text(drive.file)}", f"sha256 = {_text(drive.sha256)}"]
    if drive.key_on_pa is not None:
        head.append(f"key_on_pa = {drive.key_on_pa!r}")
    rows = [f"  {_row(row.tolist())}," for row in drive.chunks.rows()]
    return [
        *head,
        f"commanded = {str(drive.commanded).lower()}",
        f"# {', '.join(COLUMNS)}",
        "chunks = [",
        *rows,
        "]",
    ]


def _row(values: list[float] | tuple[float, ...]) -> str:
    return f"[{', '.join(repr(float(value)) for value in values)}]"


def _text(words: str) -> str:
    """A TOML basic string."""
    escaped = "".join(
        f"\\u{ord(letter):04x}" if ord(letter) < 32 or ord(letter) == 127 or 0xD800 <= ord(letter) < 0xE000
        else f"\\{letter}" if letter in '"\\' else letter
        for letter in words
    )  # fmt: skip
    return f'"{escaped}"'
