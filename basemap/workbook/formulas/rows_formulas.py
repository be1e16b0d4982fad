"""What every load of the table has in common, as formulas on names, with the model's own values."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import Delivery, delivery
from basemap.model.axes import LoadAxis
from basemap.model.installation import FloatArray
from basemap.model.job import Job, SideName
from basemap.model.result import Computed
from basemap.model.settings import Settings
from basemap.model.table import FuelTable, TableQuantity
from basemap.workbook.formulas.derived import GAS_CONSTANT
from basemap.workbook.formulas.interpolate import segment_formula, segment_number, value_formula
from basemap.workbook.inputs.dead_time_blocks import Block, block, blocks_of
from basemap.workbook.inputs.ecu_inputs import refers_to_pressure
from basemap.workbook.inputs.sides import is_cancelled, known_rail, plain

RowKey = Literal[
    "load", "map", "donor_across", "donor_flow", "donor_static", "donor_segment", "donor_dead", "donor_gain",
    "across", "flow", "static", "segment", "dead", "gain", "gain_old", "largest", "median", "smallest",
]  # fmt: skip
Address = Callable[[RowKey, int], str]
Formula = Callable[[int], str]


@dataclass(frozen=True)
class Live:
    """Formula and value of one quantity of every row; a value that is not finite stands for words.

    Without a formula the figures are as issued.
    """

    formula: Formula | None
    values: FloatArray


def live_rows(computed: Computed, address: Address) -> Mapping[RowKey, Live]:
    """Formulas and values by column of the sheet.

    Parameters
    ----------
    address
        Gives the address of a row's figure.
    """
    job, rows = computed.job, _Rows(computed, address)
    found: dict[RowKey, Live] = {"map": rows.pressure()}
    found |= rows.side("donor") if known_rail(job, "donor") else {}
    found |= rows.side("target")
    found["donor_gain"] = rows.donor_gain()
    found["gain"] = rows.target_gain()
    if not is_cancelled(job):
        found["gain_old"] = rows.old_gain()
    return found


def pressure_scale(job: Job) -> tuple[float, bool]:
    """Size of the load's unit, kPa, negative for a vacuum; and whether it refers to the donor's barometer."""
    shown, pressure = job.target.shown.load, job.donor.table.load_pa / 1e3
    size = float((pressure[-1] - pressure[0]) / (shown[-1] - shown[0])) if shown.size > 1 else 1.0
    rest = float(pressure[0] - size * shown[0])
    return size, abs(rest) > 1e-6 * float(pressure[-1])


@dataclass(frozen=True)
class _Rows:
    computed: Computed
    address: Address

    @property
    def job(self) -> Job:
        return self.computed.job

    @property
    def _count(self) -> int:
        return int(self.job.donor.table.load_pa.size)

    def pressure(self) -> Live:
        """Manifold pressure of every row, kPa."""
        job = self.job
        return Live(lambda i: f"={self._pressure_of(self.address('load', i))}", job.donor.table.load_pa / 1e3)

    def _pressure_of(self, load: str) -> str:
        """A load as manifold pressure: each side counts from its own barometer, so that both must be the same."""
        job = self.job
        if job.donor.table.points.axis is LoadAxis.PRESSURE_RATIO:
            size = float(job.donor.table.points.lookup[-1] / job.target.shown.load[-1])
            pressure = f"{load}*{plain(size)}*donor_barometer_used"
        else:
            size, gauge = pressure_scale(job)
            if not gauge:
                return f"{load}*{plain(size)}"
            pressure = f"{load}*{plain(size)}+donor_barometer_used"
        return f'IF(donor_barometer_used=target_barometer_used,{pressure},"barometers differ")'

    def _delivery(self, side: SideName) -> Delivery:
        table = self.job.side(side).table
        return delivery(self.job.side(side).hardware, table.pressure_pa, table.rpm, table.battery_v)

    def side(self, side: SideName) -> dict[RowKey, Live]:
        """Δp, flow and dead time of one side."""
        at = self._delivery(side)
        keys: dict[str, RowKey] = (
            {
                "across": "donor_across",
                "flow": "donor_flow",
                "static": "donor_static",
                "dead": "donor_dead",
                "segment": "donor_segment",
            }
            if side == "donor"
            else {"across": "across", "flow": "flow", "static": "static", "dead": "dead", "segment": "segment"}
        )
        across = keys["across"]
        fixed = f"{side}_rail_pressure_used+{side}_barometer_used"
        found: dict[RowKey, Live] = {
            across: Live(
                lambda i: f'=IF({side}_regulator="fixed",{fixed}-{self.address("map", i)},{side}_rail_pressure_used)',
                self._rows(at.pressure_across_pa) / 1e3,
            )
        }
        if self.job.side(side).flow_known:
            found |= self._flows(side, keys, at)
        if self.job.side(side).dead_time_known:
            found |= self._dead_time(side, keys, at)
        return found

    def _rows(self, values: FloatArray) -> FloatArray:
        """One figure of every row."""
        return np.broadcast_to(
            values, (self._count, max(values.shape[-1], 1)) if values.ndim > 1 else (self._count, 1)
        )[:, 0]

    def _flows(self, side: SideName, keys: Mapping[str, RowKey], at: Delivery) -> dict[RowKey, Live]:
        slope = self.job.side(side).hardware.injectors.line_key != "static_flow"
        density = f"{side}_fuel_density/{side}_rated_density_used"

        def flow(rated: str) -> Formula:
            return lambda i: (
                f"={rated}*SQRT(MAX({self.address(keys['across'], i)},0)/{side}_rated_pressure_used*{density})"
            )

        static = flow(f"{side}_static_rated_flow") if slope else lambda i: f"={self.address(keys['flow'], i)}"
        return {
            keys["flow"]: Live(flow(f"{side}_rated_flow"), self._rows(at.line_flow_kg_s) * 1e3),
            keys["static"]: Live(static, self._rows(at.static_flow_kg_s) * 1e3),
        }

    def _dead_time(self, side: SideName, keys: Mapping[str, RowKey], at: Delivery) -> dict[RowKey, Live]:
        one = block(blocks_of(self.computed), side)
        values = self._rows(at.dead_time_s) * 1e3
        if not one.over_pressure:
            return {keys["dead"]: Live(lambda _: f"={side}_dead_time", values)}
        pressures = one.dead_time.pressure_pa
        assert pressures is not None
        across = self._rows(at.pressure_across_pa)
        segments = np.array([segment_number(pressures, float(pressure)) for pressure in across], dtype=np.float64)
        return {
            keys["segment"]: Live(
                lambda i: f"={segment_formula(one.pressures, self.address(keys['across'], i), _pressure_order(one))}",
                segments,
            ),
            keys["dead"]: Live(
                lambda i: (
                    "=MAX(0,"
                    + value_formula(
                        one.pressures,
                        one.at_battery,
                        self.address(keys["across"], i),
                        self.address(keys["segment"], i),
                        pressures.size,
                    )
                    + ")"
                ),
                values,
            ),
        }

    def _gain_values(self, table: FuelTable, side: SideName, settings: Settings) -> FloatArray:
        """Pulse for one unit of a cell at λ = 1, ms."""
        conditions = self.job.side(side).hardware.conditions
        sensed = Sensed(self._delivery(side).pressure_across_pa, conditions.charge_temperature_k, table.battery_v)
        gain = ecu.gain(table, np.ones((self._count, 1)), settings, sensed)
        return self._rows(gain) * 1e3 * self._per_unit(side)

    def _per_unit(self, side: SideName) -> float:
        """SI value of the unit in which one side's cells are shown."""
        return self.job.side(side).shown.per_unit

    def donor_gain(self) -> Live:
        """Pulse for one unit of the donor's cell; where its hardware cancels, the air that one unit stands for, mg."""
        settings, table = self.computed.in_force.donor, self.job.donor.table
        values = self._gain_values(table, "donor", settings)
        words = _Gain(
            "donor", "donor_set", "donor_set_volume", "donor_charge_temperature_used", "donor_rail_pressure_used"
        )
        if not is_cancelled(self.job):
            return Live(lambda i: self._guarded("donor", "donor_across", i, self._gain(table, words, i)), values)
        at, donor = self._delivery("donor"), self.job.donor.hardware
        air = values * self._rows(at.line_flow_kg_s) * 1e3 * at.openings * donor.fuel.stoichiometric
        return Live(self._air_formula(words), np.where(self._rows(at.pressure_across_pa) > 0, air, np.nan))

    def _air_formula(self, words: _Gain) -> Formula:
        job, table = self.job, self.job.donor.table
        if job.donor.flow_known and job.donor.fuel_known:
            line = "donor_stoichiometric*donor_hardware_openings"
            return lambda i: self._pressed(i, f"{line}*{self.address('donor_flow', i)}*({self._gain(table, words, i)})")
        return lambda i: self._pressed(i, self._air_of_ve(i))

    def _air_of_ve(self, i: int) -> str:
        job, table = self.job, self.job.donor.table
        pressure = self._reference("donor") if table.inside.pressure else self.address("map", i)
        air = (
            f"donor_formula_factor_used*{pressure}*donor_set_volume*{plain(self._per_unit('donor'))}"
            f"/({plain(GAS_CONSTANT)}*donor_charge_temperature_used)*donor_hardware_openings/donor_set_openings"
        )
        if job.donor.fuel_known and job.donor.told.stoichiometric is not None:
            air += "*donor_stoichiometric/donor_set_stoichiometric"
        return air + self._flow_ratio(i)

    def _reference(self, side: SideName) -> str:
        """Pressure for which a cell stands: an input where the job can say it, else a constant."""
        if refers_to_pressure(self.job, side):
            return f"{side}_reference_pressure_used"
        table = self.job.side(side).table
        return plain(table.reference_pressure_pa / 1e3)

    def _flow_ratio(self, i: int) -> str:
        """Flow at the row's pressure to the flow told, over the ECU's own correction for it."""
        if not known_rail(self.job, "donor"):
            return ""
        across = self.address("donor_across", i)
        believed = f'IF(donor_corrects_rail_pressure="yes",SQRT(MAX({across},0)/donor_rail_pressure_used),1)'
        if self.job.donor.flow_known:
            return f"*{self.address('donor_flow', i)}/donor_set_flow/{believed}"
        return f"*SQRT(MAX({across},0)/donor_rail_pressure_used)/{believed}"

    def _pressed(self, i: int, formula: str) -> str:
        if not known_rail(self.job, "donor"):
            return f"={formula}"
        return f'=IF({self.address("donor_across", i)}>0,{formula},"no pressure")'

    def target_gain(self) -> Live:
        """Pulse for one unit of the target's cell, new settings."""
        table, settings = self.job.target.table, self.computed.in_force.new
        words = _Gain(
            "target", "target_set", "target_set_volume", "target_believed_temperature", "target_set_flow_pressure"
        )
        values = self._gain_values(table, "target", settings)
        return Live(lambda i: self._guarded("target", "across", i, self._gain(table, words, i)), values)

    def old_gain(self) -> Live:
        """Pulse for one unit of the target's cell, the donor's settings left in."""
        table, settings = self.job.target.table, self.computed.in_force.old
        words = _Gain("target", "donor_set", "old_set_volume", "target_believed_temperature", "donor_rail_pressure_used",
                      openings="target_set_openings")  # fmt: skip
        values = self._gain_values(table, "target", settings)
        return Live(lambda i: self._guarded("target", "across", i, self._gain(table, words, i)), values)

    def _guarded(self, side: SideName, across: RowKey, i: int, formula: str) -> str:
        """An ECU that corrects for a rail pressure of nothing commands no pulse."""
        nothing = f'AND({side}_corrects_rail_pressure="yes",{self.address(across, i)}<=0)'
        return f'=IF({nothing},"no pressure",{formula})'

    def _gain(self, table: FuelTable, words: _Gain, i: int) -> str:
        across = self.address("donor_across" if words.side == "donor" else "across", i)
        reference = self._reference(words.side)
        pressed = f'IF({words.side}_corrects_rail_pressure="yes",SQRT(MAX({across},0)/{words.flow_pressure}),1)'
        if table.quantity is TableQuantity.PULSE_WIDTH:
            load = "1" if table.inside.pressure else f"{self.address('map', i)}/{reference}"
            size = plain(self._per_unit(words.side) * 1e3)
            stands_for = words.side if self.job.other_quantity else "donor"
            return f"{size}*{load}*{stands_for}_charge_temperature_used/{words.temperature}/{pressed}"
        load = reference if table.inside.pressure else self.address("map", i)
        openings = words.openings or f"{words.prefix}_openings"
        air = f"{words.side}_formula_factor_used*{load}*{words.volume}*{plain(self._per_unit(words.side))}"
        below = f"{words.prefix}_stoichiometric*{openings}*{words.prefix}_flow*{pressed}"
        return f"{air}/({plain(GAS_CONSTANT)}*{words.temperature}*{below})"


@dataclass(frozen=True)
class _Gain:
    """The names that one set of settings has for the parts of the gain."""

    side: SideName
    prefix: str
    volume: str
    temperature: str
    flow_pressure: str
    openings: str = ""


def _pressure_order(one: Block) -> tuple[str, str] | None:
    """Pressures without the last, and without the first."""
    from xlsxwriter.utility import xl_range_abs

    from basemap.workbook.inputs.dead_time_blocks import SHEET

    pressures = one.dead_time.pressure_pa
    assert pressures is not None
    row, first, last = one.pressure_row, one.col + 1, one.col + pressures.size
    return (
        f"'{SHEET}'!{xl_range_abs(row, first, row, last - 1)}",
        f"'{SHEET}'!{xl_range_abs(row, first + 1, row, last)}",
    )
