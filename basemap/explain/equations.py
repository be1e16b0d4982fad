"""The equations of a cell's chain as text: symbol, words, unit, formula, and the name of their cell in the workbook.

These texts are only shown. The numbers come from `basemap.adaptation`, and the formulas of the workbook work them out a
second time.
"""

from __future__ import annotations

from typing import NamedTuple

from basemap.constants import R_DRY_AIR
from basemap.physics.throttle import CRITICAL_RATIO, HEAT_CAPACITY_RATIO


class Equation(NamedTuple):
    """One quantity of the chain.

    Parameters
    ----------
    symbol
        As in the physics page of the documentation.
    words
        Its name; a part in braces is filled in for a cell.
    unit
        The unit it is shown in.
    formula
        The arithmetic in symbols; empty for an input, or if it depends on the job.
    cell
        Name of its cell in the workbook, after ``donor_`` or ``target_``; empty if it has none.
    """

    symbol: str
    words: str
    unit: str = ""
    formula: str = ""
    cell: str = ""


LAMBDA = Equation("λ", "intended lambda")

# What an ECU does with a cell.
DONOR_CELL = Equation("cell", "the donor's cell")
DONOR_CELL_AT = Equation("cell", "the donor's cell, at {where} of its own axes")
KAPPA = Equation("κ", "formula factor")
MULTIPLIER = Equation("p", "{what}", "kPa")
REFERENCE_PRESSURE = Equation("p_ref", "pressure for which a cell stands", "kPa")
TOLD_VOLUME = Equation(
    "V_set", "cylinder volume as the ECU holds it", "cm³", "displacement entered / cylinders", "set_volume"
)
REFERENCE_TEMPERATURE = Equation("T_ref", "charge temperature for which a cell stands", "K")
BELIEVED_TEMPERATURE = Equation("T_ECU", "charge temperature as the ECU takes it", "K", cell="believed_temperature")
TOLD_RATIO = Equation("L_set", "stoichiometric ratio as the ECU holds it", cell="set_stoichiometric")
TOLD_OPENINGS = Equation("n·k", "openings per cylinder and cycle as the ECU assumes", cell="set_openings")
TOLD_FLOW = Equation("ṁ_set", "injector flow as the ECU holds it", "g/s", cell="set_flow")
RAIL_FACTOR = Equation("F_p", "rail-pressure factor", "", "√(Δp / Δp_ref)")
BATTERY_FACTOR = Equation("f_U", "what the ECU multiplies by at {volts:g} V")
GAIN_OF_VE = Equation("G", "pulse for a cell of 100 %, without dead time", "ms")
GAIN_OF_PULSE = Equation("G", "pulse per ms of the cell, without dead time", "ms/ms")
TOLD_DEAD_TIME = Equation("τ_set", "dead time that the ECU adds at {volts:g} V", "ms", cell="set_dead_time")
TOLD_SLOPES = Equation("r_set", "slope above the bend to the one below it, as the ECU holds them")
TOLD_BEND = Equation("t_b,set", "open time at which the ECU bends, from the slope above", "ms", cell="set_bend_above")
TOLD_ADDED_TIME = Equation("a_set", "time that the ECU adds to {opening_ms:.7g} ms", "ms")
MINIMUM_PULSE = Equation("t_min", "shortest pulse that the ECU commands", "ms")
COMMANDED_PULSE = Equation("t", "commanded pulse", "ms")
NEW_CELL = Equation("cell", "the new cell")
STORED_CELL = Equation("stored", "the new cell as the table stores it")
RICHER_CELL = Equation("to load", "richer at load, as the job asks", "", "the same for {share:.3g} % more fuel, stored")

# The fuel that injectors deliver in a pulse, and the pulse that they need for a fuel.
PRESSURE_ACROSS = Equation("Δp", "pressure across the injector", "bar")
ACROSS_FOLLOWING, ACROSS_FIXED = "p_rail", "p_rail + p0 − p"
RATED_FLOW = Equation(
    "ṁ_rated", "rated mass flow", "g/s", "of a fluid of {density:g} kg/m³ at {bar:g} bar", "rated_flow"
)
DENSITY = Equation("ρ", "density of the fuel in the rail", "kg/m³", cell="fuel_density")
FLOW = Equation("ṁ", "mass flow of one injector", "g/s", "ṁ_rated · √(Δp / Δp_rated) · √(ρ / ρ_rated)")
FLOW_ABOVE_BEND = Equation("ṁ", "mass flow of one injector above the bend", "g/s", FLOW.formula)
SLOPES = Equation("S_lo / ṁ", "slope below the bend to the one above it")
FLOW_BELOW_BEND = Equation("S_lo", "mass flow of one injector below the bend", "g/s", "ṁ · (S_lo / ṁ)")
MASS_AT_BEND = Equation(
    "m_b", "fuel of one opening at the bend, at this flow", "mg", "{opening_ms:.9g} ms · ṁ, as rated"
)
DEAD_TIME = Equation("τ", "dead time of the injector at {volts:g} V", "ms", cell="dead_time")
OPENINGS = Equation("n·k", "openings per cylinder and cycle", cell="hardware_openings")
RATIO = Equation("L", "stoichiometric ratio of the fuel", cell="stoichiometric")
ADDED_TIME = Equation("a", "extra time that it needs where the flow line gives {opening_ms:.7g} ms", "ms")
FUEL = Equation("m_fuel", "fuel of one cylinder in one cycle", "mg")
FUEL_NEEDED = Equation("m_fuel,t", "fuel that this air needs", "mg", "m_air,t / (L · λ)")
PULSE = Equation("t", "pulse", "ms")
PULSE_NEEDED = Equation("t", "pulse that this fuel needs", "ms")
MINIMUM_INSTEAD = Equation("t_min", "the ECU commands its minimum instead, and the mixture is richer by that", "ms")
DUTY = Equation("duty", "duty", "%", "t / ({window_ms:.6g} ms between openings)")

# The air.
MANIFOLD_PRESSURE = Equation("p", "manifold pressure{estimate}", "kPa")
CHARGE_TEMPERATURE = Equation("T", "charge temperature", "K", cell="charge_temperature_used")
EFFICIENCY = Equation(
    "η",
    "volumetric efficiency that the cell stands for",
    "",
    "its injectors and fuel cancel: the settings were true about them",
)
AIR_OF_FUEL = Equation("m_air", "air of one cylinder in one cycle", "mg", "λ · L · m_fuel")
AIR_OF_EFFICIENCY = Equation(
    "m_air", "air of one cylinder in one cycle", "mg", f"η · p · V / (R · T), R = {R_DRY_AIR} J/(kg·K)"
)
AIR_BETWEEN = Equation(
    "m_air",
    "air of one cylinder in one cycle, between the donor's cells",
    "mg",
    "the air of the cells around it, each by its own chain, interpolated in proportion to the load",
)

# From the donor's air to the target's.
VOLUMES = Equation("V_t / V_d", "cylinder volumes, target to donor")
TEMPERATURES = Equation("T_d / T_t", "charge temperatures, donor to target")
STATED_AIR = Equation("x_t / x_d", "air that the axis states, target to donor")
PRESSURES = Equation("p_t / p_d", "manifold pressures at the similar points")
BREATHING = Equation("b", "breathing ({model}): an estimate of η_t / η_d")
BY_RESIDUAL_GAS = "f_t / f_d, f = r/(r-1) - (p_0/p + γ - 1) / (γ · (r - 1)), γ = 1.4"
FADES_OUT = "; any air that it takes away fades out from 0.5 to 0.6 of the barometer"
EVIDENCE = Equation(
    "e", "how the target breathes according to the evidence: η_t / η_d", "", "posterior of the breathing field by {by}"
)
TAUGHT = Equation("d", "what drives taught: factor on the fuel of this cell", "", "posterior of the job and its logs")
BY_INLET_MACH = "η_d at {rpm:.7g} rpm (the same inlet Mach index) / η_d at this speed"
TARGET_AIR = Equation("m_air,t", "air of one cylinder of the target in one cycle", "mg")

# Behind a throttle.
DONOR_THROTTLED = Equation("Π_d", "manifold over barometric pressure of the donor")
BY_ROW_PRESSURE, BY_WIDE_OPEN = "row_pressure / barometer", "m_air / W"
WIDE_OPEN_AIR = Equation("W", "air of the wide-open row at this speed", "mg")
TARGET_THROTTLED = Equation("Π_t", "manifold over barometric pressure of the target")
AROUND = "what the donor's cells around it give, each at its own pressures, interpolated"
NOT_THROTTLED = "Π_d: not throttled"
BY_ROOT, BY_SONIC_FLOW = (
    "y^(-γ/(γ-1)), y = (1 + √(1 + 2·c²·(γ-1)/γ)) / 2",
    "{sonic:.7g} / c: the flow past the blade is sonic",
)
BAROMETERS = Equation("p0_t / p0_d", "barometers, target to donor")
FLOW_FUNCTION = Equation(
    "Ψ_d",
    "flow function of the donor's blade",
    "",
    f"√(2γ/(γ-1) · (Π_d^(2/γ) - Π_d^((γ+1)/γ))), γ = {HEAT_CAPACITY_RATIO:g}, Π not below {CRITICAL_RATIO:.7g}",
)
DISPLACEMENTS = Equation("D_t / D_d", "displacements, target to donor")
BORE_AREAS = Equation("A_d / A_t", "bore areas, donor to target")
DEMAND = Equation(
    "c",
    "flow function over Π that the target needs",
    "",
    "D_t / D_d · A_d / A_t · √(T_d / T_t) · Ψ_d / Π_d",
)


def commanded_pulse(*, adds_nothing: bool, bends: bool, adds_time: bool, has_minimum: bool) -> str:
    """The pulse that an ECU commands for a cell."""
    formula = "cell · G" if adds_nothing else "cell · G + τ_set"
    if bends:
        formula = "r_set · min(cell · G, t_b,set) + max(cell · G − t_b,set, 0) + τ_set"
    if adds_time:
        formula += " + a_set"
    return f"the longer of {formula} and t_min" if has_minimum else formula


def new_cell(*, adds_nothing: bool, bends: bool, adds_time: bool) -> str:
    """The cell for which an ECU commands a pulse."""
    if adds_time:
        return "(t − a_set) / G" if adds_nothing else "(t − τ_set − a_set) / G"
    if bends:
        opening, at_bend = "t − τ_set", "r_set · t_b,set"
        return f"(min({opening}, {at_bend}) / r_set + max({opening} − {at_bend}, 0)) / G"
    return "t / G" if adds_nothing else "(t − τ_set) / G"


def gain(
    *, of_efficiency: bool, pressure_inside: bool, times_lambda: bool, corrects_rail: bool, times_volts: bool
) -> str:
    """What an ECU multiplies a cell by."""
    battery = "f_U · " if times_volts else ""
    mixture, rail = " · λ" if times_lambda else "", " · F_p" if corrects_rail else ""
    if of_efficiency:
        return f"{battery}κ · p · V_set / (R · T_ECU · L_set{mixture} · n·k · ṁ_set{rail})"
    pressure, below = "1" if pressure_inside else "p / p_ref", (mixture + rail).removeprefix(" · ")
    return f"{battery}{pressure} · T_ref / T_ECU" + (f" / ({below})" if below else "")


def fuel_of_pulse(*, below_bend: bool | None, adds_time: bool) -> str:
    """The fuel that a pulse delivers; `below_bend` is `None` for a flow line without a bend."""
    if adds_time:
        return "n·k · ṁ · (t − τ − a)"
    if below_bend is None:
        return "n·k · ṁ · (t − τ)"
    return "n·k · S_lo · (t − τ), below the bend" if below_bend else "n·k · (m_b + ṁ · (t − τ − m_b / S_lo))"


def pulse_of_fuel(*, below_bend: bool | None, adds_time: bool) -> str:
    """The pulse that delivers a fuel; `below_bend` is `None` for a flow line without a bend."""
    formula = "τ + m_fuel,t / (n·k · ṁ)"
    if below_bend is not None:
        below, above = "τ + m_fuel,t / (n·k · S_lo), below the bend", "τ + m_b / S_lo + (m_fuel,t / n·k − m_b) / ṁ"
        formula = below if below_bend else above
    return f"{formula} + a" if adds_time else formula
