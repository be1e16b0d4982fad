"""What of the donor may be left out because it cancels, and why the rest may not."""

from __future__ import annotations

from dataclasses import dataclass

from basemap.jobfile.quantities import UNKNOWN
from basemap.jobfile.schema import DonorTable, LambdaFile
from basemap.jobfile.side import StatedSide


@dataclass(frozen=True)
class Needs:
    """Why each of the donor's inputs is needed, as the end of a sentence; `None` where it cancels."""

    flow: str | None
    fuel: str | None
    dead_time: str | None
    rail_pressure: str | None


def donor_needs(
    donor: StatedSide, target: StatedSide, table: DonorTable, applies: tuple[str, ...] | str, *, other_box: bool = False
) -> Needs:
    """Why each of the donor's inputs is needed.

    The donor's flow, fuel and dead time cancel where its ECU was told the truth about them, as long as each can be
    told again. With dead time inside the cells, or two slopes that the ECU was not told of, nothing cancels; in a
    pulse-width table flow and fuel never do.

    Parameters
    ----------
    applies
        What the donor's ECU applies to a cell, or ``unknown``.
    other_box
        Whether the target's table holds another quantity.
    """
    whole = None
    if applies == UNKNOWN:
        whole = 'ecu_applies = "unknown" is settled by the volumetric efficiency that the cells imply'
    elif "dead time" not in applies:
        whole = 'dead time is inside the cells (ecu_applies does not name "dead time")'
    elif donor.injectors.two_slope is not None and not donor.settings.two_slope:
        whole = "its ECU was not told of both slopes of its injectors, so its cells are read through their pulses"
    elif donor.injectors.added_time is not None and not donor.settings.added_time:
        whole = "its ECU was not told what to add to short pulses, so its cells are read through their pulses"
    elif donor.settings.dead_time is not None and donor.settings.dead_time.percent is not None:
        whole = "its ECU multiplies its pulses for the battery, so its cells are read through them"
    elif donor.settings.minimum_pulse is not None:
        whole = "its ECU commands no pulse below a minimum, so its cells are read through their pulses"
    stuck = target.settings.cannot_be_told or ()
    told = donor.settings
    both = whole
    if table.quantity == "pulse width":
        both = both or "a pulse-width table is read through the injectors and the fuel that it was made with"
    flow = both or _kept("static_flow", stuck)
    if told.fuel_density is not None:
        flow = flow or "its ECU was told the density of its fuel, and the flow to enter goes with that"
    flow_known = donor.injectors.static_flow is not None or told.static_flow is not None
    fuel = both or _kept("stoichiometric", stuck)
    wanted = table.intended_lambda
    if isinstance(wanted, LambdaFile) and wanted.basis == "fuel in use":
        fuel = fuel or 'the basis "fuel in use" of the intended lambda means it'
    if flow_known:
        fuel = fuel or "the flow to enter follows from the donor's static_flow and its fuel; leave both out, or neither"
    rail = flow
    if flow_known:
        rail = rail or "the flow to enter follows from the donor's static_flow at its rail pressure"
    if donor.fuel.regulator == "fixed":
        rail = rail or "on a fixed rail the flow changes with the load"
    # Another box than the donor's refers to the target's own rail.
    if told.corrects_rail_pressure or (target.settings.corrects_rail_pressure and not other_box):
        rail = rail or "an ECU that corrects for the rail pressure refers to it"
    return Needs(flow=flow, fuel=fuel, dead_time=whole or _kept("dead_time", stuck), rail_pressure=rail)


def _kept(name: str, stuck: tuple[str, ...]) -> str | None:
    return f"the target's ECU keeps the donor's value (cannot_be_told names {name})" if name in stuck else None
