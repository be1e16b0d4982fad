"""The input cells of a fuel: its name, its parts by volume, or a typed ratio and density."""

from __future__ import annotations

from dataclasses import replace

from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.model.job import Job, SideName
from basemap.physics.fuel import BLENDS, COMPONENTS
from basemap.workbook.inputs.input_cell import (
    AS_PARTS,
    AS_TYPED,
    PART_NAMES,
    InputCell,
    choice,
    is_same_part,
    spread,
    unit_of,
    without_rail,
    written,
)
from basemap.workbook.inputs.quantities import KG_M3, NONE, Group, ShownUnit, limits, shown


def fuel_cells(job: Job, side: SideName) -> list[InputCell]:
    """The cells for the fuel and the regulator of one side."""
    fuel = job.side(side).hardware.fuel
    regulator = choice(
        job,
        side,
        "regulator",
        "fuel.regulator",
        "Fuel-pressure regulator",
        Group.FUEL,
        str(fuel.regulator.value),
        ("manifold", "fixed"),
    )
    regulator = without_rail(job, regulator)
    if is_same_part(job, side, "fuel.regulator"):
        regulator = replace(regulator, follows="donor_regulator")
    if not job.side(side).fuel_known:
        return [regulator]
    cells = [_fuel_choice(job, side), *_parts(job, side), *_typed(job, side)]
    own = any(f"target.fuel.{key}" in job.inputs for key in ("blend", "parts", "stoichiometric")) or any(
        key.startswith("target.fuel.parts.") for key in job.inputs
    )
    if side == "target" and "fuel" in job.same_as_donor and not own:
        cells = [
            replace(cell, follows=cell.name.replace("target_", "donor_", 1), origin="as the donor") for cell in cells
        ]
    return [*cells, regulator]


def fuel_word(job: Job, side: SideName) -> str:
    """The word for a fuel: its name, "as parts" or "as typed"."""
    fuel = job.side(side).hardware.fuel
    stated = job.inputs.get(f"{side}.fuel.blend")
    name = fuel.name if stated is None else stated.text
    known = {blend.casefold(): blend for blend in BLENDS}.get(name.strip().casefold())
    if known is not None and fuel.parts:
        return known
    return AS_PARTS if fuel.parts else AS_TYPED


def _fuel_choice(job: Job, side: SideName) -> InputCell:
    # An ECU that takes a density takes that at 15 °C, which a density typed for the rail does not tell.
    typed = job.donor.told.fuel_density is None or fuel_word(job, side) == AS_TYPED
    choices = (*BLENDS, AS_PARTS, AS_TYPED) if typed else (*BLENDS, AS_PARTS)
    key = {AS_PARTS: "fuel.parts", AS_TYPED: "fuel.stoichiometric"}.get(fuel_word(job, side), "fuel.blend")
    chosen = choice(job, side, "fuel", "fuel.blend", "Fuel", Group.FUEL, fuel_word(job, side), choices)
    stated = [one.origin for name, one in job.inputs.items() if name.startswith(f"{side}.{key}")]
    return replace(chosen, origin=stated[0] if stated else "default")


def _parts(job: Job, side: SideName) -> list[InputCell]:
    part = QUANTITIES["fuel.parts"]
    percent = ShownUnit("%", 0.01)
    low, high = limits(part.range, percent)
    shares = dict(job.side(side).hardware.fuel.parts)
    cells = []
    for component in COMPONENTS:
        entry = job.inputs.get(f"{side}.fuel.parts.{component}")
        share = shares.get(component, 0.0) * 100.0 if entry is None else entry.shown
        cells.append(
            InputCell(
                side, f"{side}_part_{PART_NAMES[component]}", f"{side}.fuel.parts.{component}", f"… {component}, for “{AS_PARTS}”",
                Group.FUEL, share, "vol %", "%", low=low, high=high, why=part.why,
                spread="" if entry is None else spread(entry, percent),
                origin="" if entry is None else entry.origin,
            )
        )  # fmt: skip
    return cells


def _typed(job: Job, side: SideName) -> list[InputCell]:
    """The cells for a typed ratio and density; for a fuel with a name or parts they hold what follows from these."""
    fuel = job.side(side).hardware.fuel
    of_ratio, of_density = QUANTITIES["fuel.stoichiometric"], QUANTITIES["fuel.density"]
    ratio, density = written(job, side, "fuel.stoichiometric"), written(job, side, "fuel.density")
    unit = unit_of(density, KG_M3)
    expands = expands_as_typed(job, side)
    typed = fuel.density if density is None else density.value
    if expands:
        assert fuel.density_15 is not None
        typed = fuel.density_15
    lowest, highest = limits(of_ratio.range, NONE)
    low, high = limits(of_density.range, unit)
    where = "at 15 °C" if expands else "in the rail"
    follows = ""
    if side == "donor" and ratio is None and fuel_word(job, side) == AS_TYPED and job.donor.told.stoichiometric:
        follows = "donor_settings_stoichiometric"
    return [
        InputCell(
            side, f"{side}_{of_ratio.cell}", f"{side}.{of_ratio.key}", of_ratio.words,
            Group.FUEL, fuel.stoichiometric, "", "", low=lowest, high=highest, why=of_ratio.why,
            spread=spread(ratio, NONE), origin="" if ratio is None else ratio.origin, follows=follows,
        ),
        InputCell(
            side, f"{side}_{of_density.cell}", f"{side}.{of_density.key}", f"… density {where}, for “{AS_TYPED}”", Group.FUEL,
            shown(typed, unit), unit.name, "kg/m³", unit.size, low=low, high=high,
            why=of_density.why, spread=spread(density, unit),
            origin="" if density is None else density.origin,
        ),
    ]  # fmt: skip


def expands_as_typed(job: Job, side: SideName) -> bool:
    """Whether the typed density is one at 15 °C, which then follows the fuel's temperature."""
    fuel = job.side(side).hardware.fuel
    return not fuel.parts and fuel.density_15 is not None
