"""Both engines, a line each, so that a reader sees whether the job has them the wrong way round."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.model.installation import Cycle, DonorState, Fuel, Induction, Installation, Regulator
from basemap.model.job import Job, SideName
from basemap.report.brief.statement import Statement, Topic
from basemap.report.words import number

_LABELS: dict[SideName, str] = {"donor": "map of", "target": "onto"}
_STATES = {
    DonorState.TUNED: "tuned",
    DonorState.GENERIC: "generic map",
    DonorState.UNKNOWN: "not known how it was tuned",
}
_LETTERS = {"ethanol": "E", "methanol": "M"}


def engines(job: Job) -> Iterator[Statement]:
    """The engine that the map was made for, and the one that it goes onto."""
    for side, label in _LABELS.items():
        words = ", ".join(_parts(job, side))
        yield Statement(Topic.ENGINE, f"{label} {words}", columns=(label, words))


def _parts(job: Job, side: SideName) -> Iterator[str]:
    installation = job.side(side).hardware
    engine = installation.engine
    yield _as_written(job, f"{side}.engine.displacement", engine.displacement_m3 / 1e-6, "cc")
    yield f"{engine.cylinders} cyl" + (" two-stroke" if engine.cycle is Cycle.TWO_STROKE else "")
    if engine.induction is Induction.BOOSTED:
        peak = _as_written(job, f"{side}.engine.peak_pressure", installation.peak_pressure_pa / 1e3, "kPa")
        yield f"boosted to {peak}"
    yield _injectors(job, side, installation) if job.side(side).flow_known else "injector flow not stated"
    yield _rail(job, side, installation)
    yield fuel_in_short(installation.fuel) if job.side(side).fuel_known else "fuel not stated"
    if side == "donor":
        yield _STATES[job.donor_state]


def _injectors(job: Job, side: SideName, installation: Installation) -> str:
    injectors = installation.injectors
    line = injectors.line
    count = injectors.per_cylinder * installation.engine.cylinders
    per_unit, unit = (1e-3 / 60.0, "g/min") if line.is_mass else (1e-6 / 60.0, "cc/min")
    flow = _as_written(job, f"{side}.injectors.{injectors.line_key}", line.value / per_unit, unit)
    at = _as_written(job, f"{side}.injectors.rated_pressure", line.pressure_pa / 1e5, "bar")
    twice = "" if injectors.openings_per_cycle == 1 else f", {injectors.openings_per_cycle:g} openings a cycle"
    return f"{count:g} x {flow} at {at}{twice}"


def _rail(job: Job, side: SideName, installation: Installation) -> str:
    fuel = installation.fuel
    kind = "fixed" if fuel.regulator is Regulator.FIXED else "manifold"
    return f"{kind} rail {_as_written(job, f'{side}.fuel.rail_pressure', fuel.rail_pressure_pa / 1e5, 'bar')}"


def fuel_in_short(fuel: Fuel) -> str:
    """The name of a fuel; a blend of petrol and one alcohol in short, such as E78."""
    parts = dict(fuel.parts)
    alcohols = [name for name in parts if name in _LETTERS and parts[name] > 0]
    if len(alcohols) == 1 and set(parts) <= {"petrol", alcohols[0]}:
        return f"{_LETTERS[alcohols[0]]}{100 * parts[alcohols[0]]:.3g}"
    return fuel.name


def _as_written(job: Job, key: str, value: float, unit: str) -> str:
    """A quantity in the unit in which the job states it, without its spread."""
    # What the target takes over from the donor stands in the donor's section.
    written = job.inputs.get("donor" + key.removeprefix("target") if key in job.copied else key)
    if written is not None and written.shown == written.shown and written.unit:
        return f"{number(written.shown, 5)} {written.unit}"
    return f"{number(value)} {unit}"
