"""The gain of every load, as formulas of names: the pulse for one unit of a cell, or its air where the pulse cancels."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from basemap.adaptation import controller as ecu
from basemap.adaptation.controller import Sensed
from basemap.model.installation import FloatArray
from basemap.model.job import SideName
from basemap.model.settings import Settings
from basemap.model.table import FuelTable, TableQuantity
from basemap.workbook.core.row_places import RowKey
from basemap.workbook.formulas.derived import GAS_CONSTANT
from basemap.workbook.formulas.row import Formula, Live, RowFormulas
from basemap.workbook.inputs.ecu_inputs import refers_to_pressure
from basemap.workbook.inputs.input_cell import is_cancelled, known_rail, plain


@dataclass(frozen=True)
class GainRows(RowFormulas):
    """Formulas and values of the gains of both ECUs, with the settings in force."""

    def _gain_values(self, table: FuelTable, side: SideName, settings: Settings) -> FloatArray:
        """The pulse for one unit of a cell at λ = 1, ms."""
        conditions = self.job.side(side).hardware.conditions
        sensed = Sensed(self.delivery(side).pressure_across_pa, conditions.charge_temperature_k, table.battery_v)
        gain = ecu.gain(table, np.ones((self.count, 1)), settings, sensed)
        return self.of_rows(gain) * 1e3 * self._per_unit(side)

    def _per_unit(self, side: SideName) -> float:
        """Size in SI of the unit of one side's cells."""
        return self.job.side(side).shown.per_unit

    def donor_gain(self) -> Live:
        """The pulse for one unit of the donor's cell; where its hardware cancels, the air for one unit, mg."""
        settings, table = self.computed.in_force.donor, self.job.donor.table
        values = self._gain_values(table, "donor", settings)
        words = _Gain(
            "donor", "donor_set", "donor_set_volume", "donor_charge_temperature_used", "donor_rail_pressure_used"
        )
        if not is_cancelled(self.job):
            return Live(lambda i: self._guarded("donor", "donor_across", i, self._gain(table, words, i)), values)
        at, donor = self.delivery("donor"), self.job.donor.hardware
        air = values * self.of_rows(at.line_flow_kg_s) * 1e3 * at.openings * donor.fuel.stoichiometric
        return Live(self._air_formula(words), np.where(self.of_rows(at.pressure_across_pa) > 0, air, np.nan))

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
        """The pressure that a cell is for: an input where the job can state it, else a constant."""
        if refers_to_pressure(self.job, side):
            return f"{side}_reference_pressure_used"
        table = self.job.side(side).table
        return plain(table.reference_pressure_pa / 1e3)

    def _flow_ratio(self, i: int) -> str:
        """Flow at the row's pressure divided by the told flow, and by the ECU's own correction for the pressure."""
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
        """The pulse for one unit of the target's cell with the new settings."""
        table, settings = self.job.target.table, self.computed.in_force.new
        words = _Gain(
            "target", "target_set", "target_set_volume", "target_believed_temperature", "target_set_flow_pressure"
        )
        values = self._gain_values(table, "target", settings)
        return Live(lambda i: self._guarded("target", "across", i, self._gain(table, words, i)), values)

    def old_gain(self) -> Live:
        """The pulse for one unit of the target's cell with the donor's settings."""
        table, settings = self.job.target.table, self.computed.in_force.old
        words = _Gain("target", "donor_set", "old_set_volume", "target_believed_temperature", "donor_rail_pressure_used",
                      openings="target_set_openings")  # fmt: skip
        values = self._gain_values(table, "target", settings)
        return Live(lambda i: self._guarded("target", "across", i, self._gain(table, words, i)), values)

    def _guarded(self, side: SideName, across: RowKey, i: int, formula: str) -> str:
        """The formula, or words where the ECU corrects for a rail pressure of zero and so commands no pulse."""
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


class _Gain(NamedTuple):
    """The names of the factors of the gain, for one set of settings."""

    side: SideName
    prefix: str
    volume: str
    temperature: str
    flow_pressure: str
    openings: str = ""
