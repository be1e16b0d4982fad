"""The program with one error put in on purpose: what the checks are for.

A mutant is a piece of the program's source text and what stands there instead. `mutated` imports the program anew
with that one change, leaves everything else as it is, and puts the sound modules back afterwards.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from importlib.abc import MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder, SourceFileLoader
from pathlib import Path
from types import CodeType, ModuleType
from typing import Literal

import tests

JobKind = Literal["any", "bent line", "breathing"]
APART = "tests.independent.calculation", "tests.independent.plain_numbers"
"""What knows nothing of the program is not loaded anew: what it has worked out once serves every mutant."""


@dataclass(frozen=True)
class Mutant:
    """One error: in `module`, `sound` is replaced by `wrong`; `shown_by` says which random jobs it needs."""

    name: str
    module: str
    sound: str
    wrong: str
    shown_by: JobKind = "any"

    def applied(self, source: str) -> str:
        """The source with the error in it; the sound text must stand there exactly once."""
        found = source.count(self.sound)
        if found != 1:
            raise LookupError(f"mutant {self.name}: {self.sound!r} stands {found} times in {self.module}")
        return source.replace(self.sound, self.wrong)


@cache
def compiled(path: str, mutant: Mutant | None) -> CodeType:
    """A module compiled, with the error in it where one is given; the same sound module serves every mutant."""
    source = Path(path).read_text(encoding="utf-8")
    return compile(source if mutant is None else mutant.applied(source), path, "exec")


class AnewLoader(SourceFileLoader):
    """Loads a module from its source, past the compiled file, with the error in it if it is the one."""

    def __init__(self, fullname: str, path: str, mutant: Mutant | None) -> None:
        super().__init__(fullname, path)
        self.mutant = mutant

    def get_code(self, fullname: str) -> CodeType:
        """Compile the source as it should be or as it should not."""
        wrong = self.mutant if self.mutant is not None and self.mutant.module == fullname else None
        return compiled(str(self.path), wrong)


class AnewFinder(MetaPathFinder):
    """Finds the program's modules and these tests, to be loaded anew."""

    def __init__(self, mutant: Mutant | None) -> None:
        self.mutant = mutant

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        """Find the module as ever, then let it be loaded anew."""
        spec = PathFinder.find_spec(fullname, path, target) if is_ours(fullname) else None
        if spec is not None and spec.origin is not None:
            spec.loader = AnewLoader(fullname, spec.origin, self.mutant)
        return spec


@contextmanager
def mutated(mutant: Mutant | None) -> Iterator[None]:
    """While it lasts, `basemap` and these tests are imported anew, with the error in them (or sound, for `None`)."""
    sound = {name: module for name, module in sys.modules.items() if is_ours(name)}
    package = tests.independent  # type: ignore[attr-defined]
    finder = AnewFinder(mutant)
    for name in sound:
        del sys.modules[name]
    sys.meta_path.insert(0, finder)
    try:
        yield
    finally:
        sys.meta_path.remove(finder)
        for name in [name for name in sys.modules if is_ours(name)]:
            del sys.modules[name]
        sys.modules.update(sound)
        tests.independent = package  # type: ignore[attr-defined]


def is_ours(name: str) -> bool:
    """Whether a module is the program's, or one of these tests that hold it to account."""
    return name.split(".")[0] == "basemap" or (f"{name}.".startswith("tests.independent.") and name not in APART)


ECU, CHAIN, HARDWARE = "basemap.adaptation.controller", "basemap.adaptation.chain", "basemap.adaptation.hardware"
SETTINGS, ENTRIES, OUTCOMES = (
    "basemap.adaptation.settings_in_force",
    "basemap.adaptation.flow_to_enter",
    "basemap.adaptation.outcomes",
)
INJECTOR, INSTALLATION = "basemap.physics.injector", "basemap.model.installation"

MUTANTS = [
    Mutant("dead time subtracted", ECU, "effective + offset(", "effective - offset("),
    Mutant("dead time added when encoding", ECU, "pulse_s - offset(", "pulse_s + offset("),
    Mutant("dead time applied though it is inside", ECU, "if table.inside.dead_time else told", "if False else told"),
    Mutant(
        "mixture the wrong way in VE", ECU, "settings.stoichiometric * lambda_)", "settings.stoichiometric / lambda_)"
    ),
    Mutant(
        "mixture the wrong way in a pulse", ECU, "pressure / lambda_ * temperature", "pressure * lambda_ * temperature"
    ),
    Mutant("formula factor dropped", ECU, "settings.formula_factor * pressure", "pressure"),
    Mutant("believed flow without the root", ECU, "np.sqrt(np.maximum(", "np.asarray(np.maximum("),
    Mutant(
        "charge temperature always corrected",
        ECU,
        "if settings.corrects_charge_temperature else settings.reference_temperature_k",
        "if True else settings.reference_temperature_k",
    ),
    Mutant("temperature ratio dropped", CHAIN, "donor_air_kg * volumes * temperatures", "donor_air_kg * volumes"),
    Mutant(
        "volumes swapped",
        CHAIN,
        "job.target.hardware.engine.cylinder_volume_m3 / job.donor.hardware.engine.cylinder_volume_m3",
        "job.donor.hardware.engine.cylinder_volume_m3 / job.target.hardware.engine.cylinder_volume_m3",
    ),
    Mutant(
        "the donor's mixture for the target",
        CHAIN,
        "job.target.hardware.fuel.stoichiometric * table.intended_lambda",
        "job.target.hardware.fuel.stoichiometric * job.donor.table.intended_lambda",
    ),
    Mutant("cells below zero kept", CHAIN, "((cells > 0) | (fuel == 0))", "(cells < np.inf)"),
    Mutant(
        "orifice without the root", INJECTOR, "np.sqrt(pressure_ratio * density", "np.asarray(pressure_ratio * density"
    ),
    Mutant(
        "density of the rating fluid dropped", INJECTOR, "pressure_ratio * density / rated_density", "pressure_ratio"
    ),
    Mutant(
        "fixed rail the wrong way",
        INJECTOR,
        "(barometer_pa - np.asarray(manifold_pa))",
        "(np.asarray(manifold_pa) - barometer_pa)",
    ),
    Mutant(
        "open throughout as the line says", INJECTOR, "throughout = pulse >= window_s", "throughout = pulse >= np.inf"
    ),
    Mutant(
        "dead time held beyond its points",
        INJECTOR,
        "np.asarray((at - start) / (points[index + 1] - start))",
        "np.clip((at - start) / (points[index + 1] - start), 0.0, 1.0)",
    ),
    Mutant(
        "static flow for the line", HARDWARE, "rated_flow(injectors.line, across", "rated_flow(injectors.static, across"
    ),
    Mutant(
        "openings ignored in the window",
        HARDWARE,
        "cycle_time_s(rpm) / injectors.openings_per_cycle",
        "cycle_time_s(rpm)",
    ),
    Mutant(
        "openings ignored in the delivery",
        HARDWARE,
        "openings=injectors.per_cylinder * injectors.openings_per_cycle",
        "openings=injectors.per_cylinder",
    ),
    Mutant(
        "dead time at the rail pressure for the pressure across",
        HARDWARE,
        "injectors.dead_time.at(battery_v, across)",
        "injectors.dead_time.at(battery_v, fuel.rail_pressure_pa)",
    ),
    Mutant(
        "the slope below the bend alone",
        "basemap.physics.bent_line",
        "np.where(low > slopes.at_mass, high, low)",
        "np.where(low > np.inf, high, low)",
        "bent line",
    ),
    Mutant(
        "a mass at the bend that stays when the pressure rises",
        "basemap.physics.bent_line",
        "rated.at_mass * factor",
        "rated.at_mass",
        "bent line",
    ),
    Mutant(
        "an ECU that knows of two slopes untold", SETTINGS, "is not None and told.bent_line", "is not None", "bent line"
    ),
    Mutant("the bend of the target left in the old settings", SETTINGS, "        bend=donor.bend,\n", "", "bent line"),
    Mutant(
        "a bend that is not bent back",
        ECU,
        "numerator = mass_for(numerator, 0.0, settings.bend)",
        "numerator = pulse_for(numerator, 0.0, settings.bend)",
        "bent line",
    ),
    Mutant("every engine a four-stroke", INSTALLATION, "revolutions = 2.0 if", "revolutions = 2.0 if True or"),
    Mutant(
        "entered flow at the donor's pressure",
        SETTINGS,
        "return entered, job.target.hardware.fuel.rail_pressure_pa",
        "return entered, donor.flow_pressure_pa",
    ),
    Mutant(
        "kept flow at the target's pressure",
        SETTINGS,
        "return donor.flow_kg_s * denser, donor.flow_pressure_pa",
        "return donor.flow_kg_s * denser, job.target.hardware.fuel.rail_pressure_pa",
    ),
    Mutant(
        "stoichiometric ratio the wrong way",
        SETTINGS,
        "target.fuel.stoichiometric / job.donor.hardware.fuel.stoichiometric",
        "job.donor.hardware.fuel.stoichiometric / target.fuel.stoichiometric",
    ),
    Mutant(
        "temperature of the box from the target",
        SETTINGS,
        "reference_temperature_k=donor.reference_temperature_k",
        "reference_temperature_k=target.conditions.charge_temperature_k",
    ),
    Mutant(
        "old settings with the donor's cylinders",
        SETTINGS,
        "cylinder_volume_m3=donor.displacement_m3 / job.target.hardware.engine.cylinders",
        "cylinder_volume_m3=donor.displacement_m3 / job.donor.hardware.engine.cylinders",
    ),
    Mutant(
        "told flow as so much fuel", SETTINGS, "else told.flow * rated", "else told.flow * installation.fuel.density"
    ),
    Mutant(
        "the old table with the target's mixture",
        OUTCOMES,
        "on.lambda_ratio(old, old_command, settings.old)",
        "on.lambda_ratio(old, new_command, settings.old)",
    ),
    Mutant("no fuel is no finding", OUTCOMES, "np.copyto(ratio, np.inf,", "np.copyto(ratio, np.nan,"),
    Mutant(
        "residual gas without the expansion",
        "basemap.physics.breathing",
        "(ratio + (gamma - 1.0)) / (gamma * strokes)",
        "(ratio + (gamma - 1.0)) / strokes",
        "breathing",
    ),
    Mutant(
        "residual gas of the two sides swapped",
        "basemap.adaptation.breathing",
        '_compression_ratio(job, "target"), _compression_ratio(job, "donor")',
        '_compression_ratio(job, "donor"), _compression_ratio(job, "target")',
        "breathing",
    ),
    Mutant(
        "the inlet Mach index upside down",
        "basemap.adaptation.breathing",
        "target.rpm * speed_ratio(job)",
        "target.rpm / speed_ratio(job)",
        "breathing",
    ),
    Mutant(
        "flow entry at the rated pressure",
        ENTRIES,
        "line.value * math.sqrt(job.donor.hardware.fuel.rail_pressure_pa / line.pressure_pa)",
        "line.value",
    ),
]
