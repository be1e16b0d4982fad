"""The target of one job file with the donor of another."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from basemap.errors import InputError
from basemap.jobfile.assemble import assemble
from basemap.jobfile.load import Written, load_job, parsed_file, read_written
from basemap.jobfile.provenance import Provenance
from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.sections import TOGETHER
from basemap.jobfile.table import Files
from basemap.model.job import Job

_TARGETS_OWN = ("target", "options")

Data = Mapping[str, Any]


def load_target(path: Path) -> Written:
    """Read and check the job whose target is to be paired with other donors.

    Its own donor, if it has one, must be usable too: the target may take parts from it.

    Raises
    ------
    InputError
        If anything in it cannot be used, or it has no target.
    """
    written = read_written(path)
    file = written.source.file
    parsed_file(written.data, file)
    if "target" not in written.data:
        raise InputError("missing: give the engine that the donors are ranked for", file=file, place="target")
    _refuse_standard_input(written.data, file)
    if "donor" in written.data:
        load_job(path)
    elif loads := _own_loads(_fuel(written.data, "target")):
        raise InputError(
            f"missing: give the unit of the loads in {loads}, because this file has no donor to take it from",
            file=file,
            place="target.tables.fuel.load_unit",
        )
    elif written.data["target"].get("same_as_donor"):
        raise InputError(
            "is used in a job without [donor]: name the target's own parts", file=file, place="target.same_as_donor"
        )
    return written


def load_pair(target: Written, donor: Path) -> Job:
    """The target of a job with the donor of another file; the donor's title becomes the job's.

    The target takes its conditions, options and the parts of its own donor (`same_as_donor`) from its own file; the
    donor takes its conditions from its file. A path is relative to the file in which it stands, and a load is in the
    unit of that file. Further tables that this donor does not have are left out, and so are the target's own points
    for a table whose axis has another unit here.

    Parameters
    ----------
    target
        From `load_target`.
    donor
        A job file with a [donor]; any target in it is ignored. If it is the target's own file, the job is taken as it
        stands.

    Raises
    ------
    InputError
        If the donor's file cannot be used, or does not go with this target.
    """
    if os.path.realpath(donor) == os.path.realpath(target.path):
        return load_job(donor)
    written = read_written(donor)
    file = written.source.file
    own = {key: value for key, value in written.data.items() if key not in _TARGETS_OWN}
    parsed_file(own, file)
    if "donor" not in own:
        raise InputError("missing: expected a job file with a [donor] section", file=file, place="donor")
    _refuse_standard_input(own, file)
    _refuse_other_axis(target, own)
    data = _paired(target.data, own)
    provenance = Provenance(file, data, sources=[written.source, target.source])
    try:
        return assemble(parsed_file(data, file), provenance, Files(donor.parent, target_folder=target.path.parent))
    except InputError as error:
        raise _where_it_stands(error, own, file, target.source.file) from None


def _paired(job: Data, donor: Data) -> dict[str, Any]:
    """One job out of two: each side takes along what the top of its own file says for both sides."""
    donor_side = _with_top(donor, donor["donor"])
    target_side = _with_top(job, _expanded(job))
    if "tables" in target_side:
        known = {"fuel", "notes", "basis", *donor_side.get("tables", {})}
        tables = {name: one for name, one in target_side["tables"].items() if name in known}
        target_side["tables"] = {name: _further_points(job, donor, name, one) for name, one in tables.items()}
    paired = {"title": donor.get("title"), "donor": donor_side, "target": target_side, "options": job.get("options")}
    return {key: value for key, value in paired.items() if value is not None}


def _with_top(file: Data, side: Data) -> dict[str, Any]:
    """A side with the [conditions] and the basis that its file states for both sides."""
    conditions = _over(file.get("conditions", {}), side.get("conditions", {}))
    with_basis = {"basis": file["basis"]} if "basis" in file else {}
    return with_basis | dict(side) | ({"conditions": conditions} if conditions else {})


def _expanded(job: Data) -> dict[str, Any]:
    """The target with the parts that it takes from its own donor written out."""
    target, donor = job["target"], job.get("donor", {})
    expanded = {key: value for key, value in target.items() if key != "same_as_donor"}
    for name in target.get("same_as_donor", ()):
        copied = _section(donor.get(name, {}))
        basis = {"basis": donor["basis"]} if "basis" in donor else {}
        expanded[name] = _over(basis | copied, _section(target.get(name, {})))
    unit = _fuel(job, "donor").get("load_unit")
    if unit is not None and _own_loads(_fuel(job, "target")):
        expanded["tables"] = dict(expanded["tables"], fuel={**_fuel(job, "target"), "load_unit": unit})
    return expanded


def _fuel(file: Data, side: str) -> Data:
    """``[SIDE.tables.fuel]`` of a job file; empty if there is none."""
    table = file.get(side, {}).get("tables", {}).get("fuel", {})
    return table if isinstance(table, Mapping) else {}


def _own_loads(table: Data) -> str:
    """The part of a target's fuel table that has loads in the unit of its donor's table; empty if there is none."""
    if "load_unit" in table:
        return ""
    intended = table.get("lambda")
    named = intended.get("file") if isinstance(intended, Mapping) else intended
    in_file = isinstance(named, str) and Path(named).suffix != ""
    return "load_points" if "load_points" in table else "the lambda file" if in_file else ""


def _refuse_other_axis(target: Written, donor: Data) -> None:
    """Refuse the target's own loads if the donor's table counts its load by something else."""
    own, other = (_fuel(file, "donor").get("load") for file in (target.data, donor))
    loads = _own_loads(_fuel(target.data, "target"))
    if own is not None and other is not None and own != other and loads:
        raise InputError(
            f"are loads over {own} in the job's own file, but this donor's table is over {other}",
            file=target.source.file,
            place=f"target.tables.fuel.{'load_points' if loads == 'load_points' else 'lambda'}",
        )


def _further_points(job: Data, donor: Data, name: str, table: Any) -> Any:
    """What the target says of a further table, without points that are in another unit than the donor's table."""
    if name == "fuel" or not isinstance(table, Mapping):
        return table
    own, other = (file.get("donor", {}).get("tables", {}).get(name, {}) for file in (job, donor))
    if all(own.get(key) == other.get(key) for key in ("axis", "axis_unit", "load_unit")):
        return table
    return {key: value for key, value in table.items() if key not in ("axis_points", "load_points")}


def _section(value: Any) -> dict[str, Any]:
    """``fuel = "unknown"`` says the same as ``blend = "unknown"``."""
    return {"blend": UNKNOWN} if value == UNKNOWN else dict(value)


def _over(copied: Data, own: Data) -> dict[str, Any]:
    """The keys of `own`, and those of `copied` that it does not state itself, under the same key or another."""
    dropped = {key for together in TOGETHER if together & own.keys() for key in together}
    return {key: value for key, value in copied.items() if key not in dropped} | dict(own)


def _refuse_standard_input(data: Data, file: str) -> None:
    for place, value in _tables(data):
        if value == "-":
            raise InputError(
                'is "-", standard input, which only one of the ranked donors could read: save the table as a file',
                file=file,
                place=place,
            )


def _tables(data: Data) -> Iterator[tuple[str, Any]]:
    """Every place that names the file of a table, with what it names."""
    for side in ("donor", "target"):
        for name, table in data.get(side, {}).get("tables", {}).items():
            if isinstance(table, Mapping):
                place = f"{side}.tables.{name}"
                intended = table.get("lambda")
                yield f"{place}.file", table.get("file")
                yield f"{place}.lambda", intended
                if isinstance(intended, Mapping):
                    yield f"{place}.lambda.file", intended.get("file")


def _where_it_stands(error: InputError, donor: Data, file: str, target_file: str) -> InputError:
    """The error with the file that its key is in, and the key as that file writes it."""
    place = error.place or ""
    if error.file != file:
        return error
    if place.split(".")[0] in _TARGETS_OWN:
        return type(error)(error.problem, file=target_file, place=place)
    head, _, key = place.rpartition(".")
    if head == "donor.conditions" and key not in donor["donor"].get("conditions", {}):
        return type(error)(error.problem, file=file, place=f"conditions.{key}")
    return error
