"""The injector flow to type in, and the fuel density and the bend of the flow line that belong to it."""

from __future__ import annotations

import math

from basemap.adaptation.hardware import rail_flow
from basemap.adaptation.setting_row import is_stuck, row, unit_of
from basemap.adaptation.settings_in_force import density_unit, told_densities
from basemap.model.job import Job, SideName
from basemap.model.result import Setting
from basemap.model.settings import InForce

CC_MIN = 1e-6 / 60.0
GRAM_MIN = 1e-3 / 60.0
MILLIGRAM = 1e-6


def donor_entry(job: Job) -> float:
    """The flow as the donor's ECU was told it, in the unit kind of `entry_is_mass`, SI.

    Unless the job says otherwise, that is the hardware's flow at the rail pressure on the rating fluid.
    """
    if job.donor.told.flow is not None:
        return job.donor.told.flow
    line = job.donor.hardware.injectors.line
    return line.value * math.sqrt(job.donor.hardware.fuel.rail_pressure_pa / line.pressure_pa)


def entry_is_mass(job: Job) -> bool:
    """Whether the donor's ECU holds its flow as a mass per time."""
    return job.donor.hardware.injectors.line.is_mass if job.donor.told.flow is None else job.donor.told.flow_is_mass


def _flow_unit(job: Job) -> tuple[bool, str, float]:
    """Whether the flow to enter is a mass per time; its unit and the size of that in SI."""
    mass = entry_is_mass(job)
    keys: tuple[str, ...] = ("donor.settings.static_flow",)
    if not job.donor.flow_known or job.other_quantity:
        keys = (f"target.injectors.{job.target.hardware.injectors.line_key}",)
        mass = job.target.hardware.injectors.line.is_mass
    elif job.donor.told.flow is None:
        keys = (f"donor.injectors.{job.donor.hardware.injectors.line_key}", "donor.injectors.static_flow")
    return mass, *unit_of(job, keys, *(("g/min", GRAM_MIN) if mass else ("cc/min", CC_MIN)))


def flow_row(job: Job, settings: InForce) -> Setting:
    """The flow of one injector, on the same basis as the donor's entry."""
    mass, unit, size = _flow_unit(job)
    stuck = is_stuck(job, "static_flow", job.target.told.flow)
    if not job.donor.flow_known or job.other_quantity:
        line = job.target.hardware.injectors.line
        own = line.value * math.sqrt(job.target.hardware.fuel.rail_pressure_pa / line.pressure_pa) / size
        basis = f"the target's own rating at its rail pressure of {in_bar(job.target.hardware.fuel.rail_pressure_pa)}"
        return row(
            "static_flow",
            unit,
            (None, own if job.target.told.flow is None else job.target.told.flow / size),
            stuck,
            basis,
        )
    old = donor_entry(job) / size
    value = old * settings.new.flow_kg_s / settings.donor.flow_kg_s
    densities = told_densities(job)
    if densities is not None:
        value *= densities[0] / densities[1]
    return row("static_flow", unit, (old, value), stuck, _flow_basis(job, mass))


def density_rows(job: Job) -> list[Setting]:
    """The fuel's density, for an ECU that is told it as well as the flow."""
    densities = told_densities(job)
    if densities is None:
        return []
    unit, size = density_unit(job)
    stuck = is_stuck(job, "fuel_density", job.target.told.fuel_density)
    basis = "at 15 °C, together with the flow: either one alone is wrong by the change in density"
    return [row("fuel_density", unit, (densities[0] / size, densities[1] / size), stuck, basis)]


def bent_line_rows(job: Job, settings: InForce) -> list[Setting]:
    """The slope below the bend and the mass at the bend, on the basis of the flow, for an ECU that holds them."""
    new, old = settings.new.bend, settings.donor.bend
    if new is None:
        return []
    flow, stuck = flow_row(job, settings), "bent_line" in job.cannot_be_told
    entered = flow.in_force
    assert isinstance(entered, float)
    before = flow.old if isinstance(flow.old, float) and old is not None else None
    below = None if before is None or old is None else before * float(old.below)
    unit, size = unit_of(job, ("target.injectors.bent_line.at_mass",), "mg", MILLIGRAM)
    each, each_before = (kg_s / size for kg_s in _entry_kg_s(job))
    at_mass = None if before is None or old is None else before * each_before * float(old.at_mass)
    return [
        row(
            "flow_below_bend",
            flow.unit,
            (below, entered * float(new.below)),
            stuck,
            "below the bend, as the static_flow",
        ),
        row(
            "mass_at_bend",
            unit,
            (at_mass, entered * each * float(new.at_mass)),
            stuck,
            "of one opening, as a mass of the same fluid as static_flow",
        ),
    ]


def _entry_kg_s(job: Job) -> tuple[float, float]:
    """Mass flow that one unit stands for in the flow to enter, and in the donor's, kg/s.

    It is one of the rating fluid, or of the fuel if the ECU is told its density.
    """
    line = job.donor.hardware.injectors.line if job.donor.flow_known else job.target.hardware.injectors.line
    mass, _, size = _flow_unit(job)
    densities = told_densities(job)
    if densities is not None:
        return size * densities[1], size * densities[0]
    each = size * (1.0 if mass else line.fluid_density)
    return each, each


def _flow_basis(job: Job, mass: bool) -> str:
    """Say which of three flows to type: the entry, not the maker's rating, nor the flow that the injector passes."""
    line, fuel = job.target.hardware.injectors.line, job.target.hardware.fuel
    entry = (
        f"type this one: on the same basis as the donor's entry, which is for {_rail(job, 'donor')} rail on a rating "
        f"fluid of {_rating_fluid(job)}; the target's rail is {_rail(job, 'target')}"
    )
    _, unit, size = _flow_unit(job)
    passed, rated = rail_flow(job.target.hardware) / size, line.mass_flow / size
    if mass:
        return f"{entry} (not its rating, {rated:.5g} {unit}, nor the {passed:.5g} {unit} it passes)"
    passed, rated = passed / fuel.density, rated / line.fluid_density
    return f"{entry} (not its rating, {rated:.5g} {unit}, nor the {passed:.5g} {unit} of fuel it passes)"


def _rail(job: Job, side: SideName) -> str:
    """A rail pressure in the unit in which the job states it."""
    unit, size = unit_of(job, (f"{side}.fuel.rail_pressure",), "bar", 1e5)
    return f"{job.side(side).hardware.fuel.rail_pressure_pa / size:.4g} {unit}"


def _rating_fluid(job: Job) -> str:
    """The donor's rating fluid: by the name that the job states, else by its density."""
    written = job.inputs.get("donor.injectors.rated_fluid")
    if written is not None and written.text and not written.unit:
        return written.text
    return f"{job.donor.hardware.injectors.line.fluid_density:.4g} kg/m3"


def in_bar(pressure_pa: float) -> str:
    """A pressure in words, such as ``3 bar``."""
    return f"{pressure_pa / 1e5:.4g} bar"
