"""How much fuel the target takes at full load: what its pump must give."""

from __future__ import annotations

import numpy as np

from basemap.adaptation.reach import highest_pressure_pa
from basemap.adaptation.throttle import over_throttle
from basemap.model.demand import Demand, FuelDemand
from basemap.model.installation import FloatArray, Installation, Regulator
from basemap.model.table import FuelTable
from basemap.model.table_result import Chain


def fuel_demand(installation: Installation, table: FuelTable, target: Chain) -> FuelDemand:
    """Fuel at full load: at the rated speed, at the highest speed, and the most up to that.

    Between the rows fuel is in proportion to the pressure, and above the top row too; beyond the other edges the cells
    are held, as the ECU does. If the axis counts air, the engine is assumed to fill its cylinders.
    """
    engine, fuel = installation.engine, installation.fuel
    pressure = highest_pressure_pa(installation)
    per_cycle = _at_full_load(table, np.broadcast_to(target.fuel_kg, table.values.shape), pressure)
    limits = [one for one in (engine.rev_limit_rpm, engine.rev_cut_rpm) if one is not None]
    top = min(limits, default=float(table.rpm[-1]))

    def flow_m3_s(rpm: FloatArray | float) -> FloatArray:
        cylinder = np.interp(rpm, table.rpm, per_cycle)
        return np.asarray(cylinder * engine.cylinders / (engine.cycle_time_s(rpm) * fuel.density))

    def at(rpm: float) -> Demand:
        return Demand(rpm, float(flow_m3_s(rpm)))

    rated = None if engine.rated_speed_rpm is None else at(min(engine.rated_speed_rpm, top))
    speeds = np.append(table.rpm[table.rpm < top], top)
    flows = flow_m3_s(speeds)
    known = np.isfinite(flows)
    most = at(float(speeds[np.where(known, flows, -np.inf).argmax()]) if known.any() else top)
    boost = max(0.0, pressure - installation.conditions.barometer_pa)
    follows = fuel.regulator is Regulator.MANIFOLD
    return FuelDemand(rated, at(top), most, fuel.rail_pressure_pa + (boost if follows else 0.0))


def _at_full_load(table: FuelTable, fuel_kg: FloatArray, pressure_pa: float) -> FloatArray:
    """Fuel of one cylinder in one cycle at full load, over the speeds of the table, kg."""
    if over_throttle(table):
        return np.asarray(fuel_kg[-1])
    per_pressure = fuel_kg / table.load_pa[:, np.newaxis]
    along = [np.interp(pressure_pa, table.load_pa, column) for column in per_pressure.T]
    return pressure_pa * np.array(along)
