"""The single numbers between inputs and tables: each a named formula of names, with the model's own value."""

from __future__ import annotations

from typing import NamedTuple

from basemap.adaptation.hardware import rail_flow
from basemap.adaptation.quantities.registry import QUANTITIES
from basemap.constants import R_DRY_AIR
from basemap.explain import equations
from basemap.model.injectors import FlowRating
from basemap.model.installation import Installation
from basemap.model.job import Job, SideName
from basemap.model.result import Computed
from basemap.model.settings import InForce, Settings
from basemap.model.table import TableQuantity
from basemap.physics.bent_line import BentLine
from basemap.workbook.formulas.derived_dead_times import Derived, dead_times
from basemap.workbook.inputs.dead_time_blocks import blocks_of
from basemap.workbook.inputs.input_cell import is_cancelled, known_rail, plain

GAS_CONSTANT = R_DRY_AIR / 1e3
"""In the units of the formulas: kPa·cm³/(mg·K)."""


class DerivedSection(NamedTuple):
    """The numbers below one heading."""

    heading: str
    numbers: tuple[Derived, ...]


def sections(computed: Computed) -> list[DerivedSection]:
    """All derived numbers, each after those that it is worked out from."""
    job, settings, blocks = computed.job, computed.in_force, blocks_of(computed)
    donor_known = job.donor.flow_known
    return [
        DerivedSection("Donor's hardware", tuple(_hardware(job, "donor", flow_known=donor_known))),
        DerivedSection(
            "Donor's settings in force, when its table was made", tuple(_donor_settings(job, settings.donor))
        ),
        DerivedSection("Target's hardware", tuple(_hardware(job, "target", flow_known=True))),
        DerivedSection("From donor to target", (_transfer(job),)),
        DerivedSection("Target's settings in force, once entered", tuple(_new_settings(job, settings))),
        DerivedSection("The donor's settings left on the target", tuple(_old_settings(job, settings))),
        DerivedSection("Dead times", tuple(dead_times(job, blocks, settings))),
    ]


def _hardware(job: Job, side: SideName, *, flow_known: bool) -> list[Derived]:
    where = job.side(side).hardware
    injectors, engine = where.injectors, where.engine
    rows = [
        Derived(f"{side}_cylinder_volume", "swept volume of one cylinder", "cm³",
                f"{side}_displacement_used/{side}_cylinders_used", engine.cylinder_volume_m3 * 1e6),
        Derived(f"{side}_{equations.OPENINGS.cell}", "openings of a cylinder's injectors in one cycle, n·k", "",
                f"{side}_per_cylinder_used*{side}_openings_used", injectors.per_cylinder * injectors.openings_per_cycle),
    ]  # fmt: skip
    if flow_known:
        rows += _flows(side, where)
    return rows


def _flows(side: SideName, where: Installation) -> list[Derived]:
    line, static = where.injectors.line, where.injectors.static
    stem = line_stem(where)
    rows = [
        Derived(f"{side}_{equations.RATED_FLOW.cell}", "flow line: rated mass flow of the rating fluid", "g/s",
                _mass_flow(side, stem, line), line.mass_flow * 1e3),
        Derived(f"{side}_rail_flow", "mass flow of one injector at the rail pressure", "g/s",
                f"{side}_rated_flow*SQRT({side}_rail_pressure_used/{side}_rated_pressure_used"
                f"*{side}_fuel_density/{side}_rated_density_used)", rail_flow(where) * 1e3),
    ]  # fmt: skip
    if stem != "static_flow":
        rows.append(
            Derived(f"{side}_static_rated_flow", "fully open: rated mass flow of the rating fluid", "g/s",
                    _mass_flow(side, "static_flow", static), static.mass_flow * 1e3)
        )  # fmt: skip
    return rows + _bend(side, where)


def line_stem(where: Installation) -> str:
    """Stem of the input cell that holds the slope of the flow line."""
    return QUANTITIES[f"injectors.{where.injectors.line_key}"].cell


def _bend(side: SideName, where: Installation) -> list[Derived]:
    """The opening at which a flow line bends, which is the same at every pressure and with every fuel."""
    both = where.injectors.bent_line
    if both is None:
        return []
    low, high = both.below.mass_flow, both.above.mass_flow
    return [
        Derived(f"{side}_rated_flow_below_bend", "below the bend: rated mass flow of the rating fluid", "g/s",
                _mass_flow(side, "flow_below_bend", both.below), low * 1e3),
        Derived(f"{side}_bend_below", "opening up to the bend, dead time apart", "ms",
                f"{side}_mass_at_bend_used/{side}_rated_flow_below_bend", both.at_mass_kg / low * 1e3),
        Derived(f"{side}_bend_above", "… at the slope above the bend from the start", "ms",
                f"{side}_mass_at_bend_used/{side}_rated_flow", both.at_mass_kg / high * 1e3),
    ]  # fmt: skip


def _told_bend(side: SideName, bend: BentLine | None, source: tuple[str, str]) -> list[Derived]:
    """The two openings at the bend as an ECU holds them."""
    if bend is None:
        return []
    low, high = (float(time) * 1e3 for time in (bend.at_mass / bend.below, bend.at_mass))
    return [
        Derived(f"{side}_set_bend_below", "opening up to the bend as the ECU holds it", "ms", source[0], low),
        Derived(
            f"{side}_{equations.TOLD_BEND.cell}", "… at the slope above the bend from the start", "ms", source[1], high
        ),
    ]


def _new_bend(job: Job, settings: InForce) -> list[Derived]:
    """The bend that the target's ECU will hold; if it cannot be told, the donor's, seen with the new flow."""
    if "bent_line" in job.cannot_be_told:
        source = "donor_set_bend_below", "donor_set_bend_above*donor_set_flow/target_set_flow"
    else:
        source = "target_bend_below", "target_bend_above"
    return _told_bend("target", settings.new.bend, source)


def _mass_flow(side: SideName, stem: str, rating: FlowRating) -> str:
    if rating.is_mass:
        return f"{side}_{stem}_used"
    return f"{side}_{stem}_used*{side}_rated_density_used/1000"


def _donor_settings(job: Job, settings: Settings) -> list[Derived]:
    own = job.donor.told
    rows = [
        Derived("donor_set_displacement", "displacement as the ECU holds it", "cm³",
                "donor_displacement_used" if own.displacement_m3 is None else "donor_settings_displacement_used",
                settings.displacement_m3 * 1e6),
        Derived(f"donor_{equations.TOLD_VOLUME.cell}", "… of one cylinder", "cm³", "donor_set_displacement/donor_cylinders_used",
                settings.cylinder_volume_m3 * 1e6),
        Derived("donor_set_openings_per_cycle", "openings per cycle as the ECU takes them", "",
                "donor_openings_used" if own.openings_per_cycle is None else "donor_settings_openings_used",
                settings.openings_per_cycle),
        Derived(f"donor_{equations.TOLD_OPENINGS.cell}", "… of a cylinder's injectors", "", "donor_per_cylinder_used*donor_set_openings_per_cycle",
                settings.openings),
    ]  # fmt: skip
    if job.donor.fuel_known:
        rows.append(
            Derived(f"donor_{equations.TOLD_RATIO.cell}", "stoichiometric ratio as the ECU holds it", "",
                    "donor_stoichiometric" if own.stoichiometric is None else "donor_settings_stoichiometric_used",
                    settings.stoichiometric)
        )  # fmt: skip
    if job.donor.flow_known:
        rows.append(
            Derived(f"donor_{equations.TOLD_FLOW.cell}", "injector flow as the ECU holds it, with the fuel in the rail", "g/s",
                    ("donor_rail_flow" if own.flow is None else _told_flow("donor", "donor", own.flow_is_mass))
                    + ("" if own.fuel_density is None else "*donor_settings_fuel_density_used/donor_standard_density"),
                    settings.flow_kg_s * 1e3)
        )  # fmt: skip
    return rows + _told_bend("donor", settings.bend, ("donor_bend_below", "donor_bend_above"))


def _told_flow(side: SideName, basis: SideName, is_mass: bool) -> str:
    """A told flow, which is one of rating fluid, as a flow of the fuel in the rail."""
    mass = f"{side}_settings_static_flow_used" + ("" if is_mass else f"*{basis}_rated_density_used/1000")
    return f"{mass}*SQRT({basis}_fuel_density/{basis}_rated_density_used)"


def _transfer(job: Job) -> Derived:
    value = (
        job.target.hardware.engine.cylinder_volume_m3
        / job.donor.hardware.engine.cylinder_volume_m3
        * job.donor.hardware.conditions.charge_temperature_k
        / job.target.hardware.conditions.charge_temperature_k
    )
    formula = (
        "target_cylinder_volume/donor_cylinder_volume*donor_charge_temperature_used/target_charge_temperature_used"
    )
    return Derived(
        "air_transfer", "air in a target's cylinder over that in a donor's, V_t/V_d · T_d/T_t", "", formula, value
    )


def _new_settings(job: Job, settings: InForce) -> list[Derived]:
    new = settings.new
    flow, pressure = _new_flow(job)
    own = new.corrects_charge_temperature or job.other_quantity
    believed = job.target.hardware.conditions if own else job.donor.hardware.conditions
    taken = 'IF(target_corrects_charge_temperature="yes",target_charge_temperature_used,donor_charge_temperature_used)'
    return [
        Derived("target_set_displacement", "displacement", "cm³", _carried(job, "displacement", job.target.told.displacement_m3,
                _carried_displacement(job)), new.displacement_m3 * 1e6),
        Derived(f"target_{equations.TOLD_VOLUME.cell}", "… of one cylinder", "cm³", "target_set_displacement/target_cylinders_used",
                new.cylinder_volume_m3 * 1e6),
        Derived("target_set_openings_per_cycle", "openings per cycle", "",
                _carried(job, "openings", job.target.told.openings_per_cycle, "target_openings_used"), new.openings_per_cycle),
        Derived(f"target_{equations.TOLD_OPENINGS.cell}", "… of a cylinder's injectors", "", "target_per_cylinder_used*target_set_openings_per_cycle",
                new.openings),
        Derived(f"target_{equations.TOLD_RATIO.cell}", "stoichiometric ratio", "",
                _carried(job, "stoichiometric", job.target.told.stoichiometric, _carried_ratio(job)), new.stoichiometric),
        Derived(f"target_{equations.TOLD_FLOW.cell}", "injector flow, with the fuel in the rail", "g/s", flow, new.flow_kg_s * 1e3),
        Derived("target_set_flow_pressure", "rail pressure at which that flow is stated", "kPa", pressure,
                new.flow_pressure_pa / 1e3),
        Derived(f"target_{equations.BELIEVED_TEMPERATURE.cell}", "charge temperature as the ECU takes it", "K",
                "target_charge_temperature_used" if job.other_quantity else taken,
                believed.charge_temperature_k),
        *_new_bend(job, settings),
    ]  # fmt: skip


def _carried(job: Job, stem: str, told_value: float | None, carried: str) -> str:
    """A setting to enter: as the job states it, as the donor's where it cannot be told, else on the donor's basis."""
    if told_value is not None:
        return f"target_settings_{stem}_used"
    key = {"openings": "openings_per_cycle"}.get(stem, stem)
    if key in job.cannot_be_told:
        return f"donor_set_{key}"
    return carried


def _carried_displacement(job: Job) -> str:
    if job.other_quantity:
        return "target_displacement_used"
    return "donor_set_displacement*target_displacement_used/donor_displacement_used"


def _carried_ratio(job: Job) -> str:
    if not job.donor.fuel_known or job.other_quantity:
        return "target_stoichiometric"
    return "donor_set_stoichiometric*target_stoichiometric/donor_stoichiometric"


def told_density_names(job: Job) -> tuple[str, str] | None:
    """Names of the fuel densities that the donor's ECU holds and the target's will; `None` where they hold none."""
    if job.donor.told.fuel_density is None:
        return None
    old = "donor_settings_fuel_density_used"
    if job.target.told.fuel_density is not None:
        return old, "target_settings_fuel_density_used"
    return old, old if "fuel_density" in job.cannot_be_told else "target_standard_density"


def _new_flow(job: Job) -> tuple[str, str]:
    """Formulas of the flow to enter, and of the rail pressure at which it is stated."""
    if job.other_quantity:
        own = job.target.told.flow
        flow = "target_rail_flow" if own is None else _told_flow("target", "target", job.target.told.flow_is_mass)
        return flow, "target_rail_pressure_used"
    pulse, density = job.donor.table.quantity is TableQuantity.PULSE_WIDTH, told_density_names(job)
    kept_pressure = (
        "donor_rail_pressure_used"
        if known_rail(job, "donor")
        else plain(job.donor.hardware.fuel.rail_pressure_pa / 1e3)
    )
    if job.target.told.flow is not None:
        basis: SideName = "donor" if job.donor.flow_known and job.donor.fuel_known else "target"
        flow = _told_flow("target", basis, job.target.told.flow_is_mass)
        return flow + (f"*{density[1]}/donor_standard_density" if density else ""), kept_pressure
    if "static_flow" in job.cannot_be_told:
        return "donor_set_flow" + (f"*{density[1]}/{density[0]}" if density else ""), kept_pressure
    entered = "donor_set_flow*target_rail_flow/donor_rail_flow" if job.donor.flow_known else "target_rail_flow"
    return entered, kept_pressure if pulse else "target_rail_pressure_used"


def _old_settings(job: Job, settings: InForce) -> list[Derived]:
    if is_cancelled(job):
        return []
    old = settings.old
    return [
        Derived("old_set_volume", "cylinder volume: the donor's displacement shared among the target's cylinders", "cm³",
                "donor_set_displacement/target_cylinders_used", old.cylinder_volume_m3 * 1e6),
    ]  # fmt: skip
