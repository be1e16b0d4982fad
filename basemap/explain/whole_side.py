"""One side of the job over its whole table: what the chains of many cells share, worked out once, if asked for."""

from __future__ import annotations

from functools import cached_property

from basemap.adaptation import controller
from basemap.adaptation.controller import Sensed
from basemap.adaptation.hardware import delivery
from basemap.model.installation import FloatArray, Installation
from basemap.model.settings import Settings
from basemap.model.table import FuelTable
from basemap.model.table_result import Chain


class WholeSide:
    """One side of the job, donor or target; arrays are of shape (loads, speeds)."""

    def __init__(
        self, word: str, installation: Installation, table: FuelTable, settings: Settings, chain: Chain
    ) -> None:
        self.word = word
        self.installation = installation
        self.table = table
        self.settings = settings
        self.chain = chain

    @cached_property
    def sensed(self) -> Sensed:
        """What this side's ECU measures."""
        return Sensed(
            self.chain.pressure_across_pa, self.installation.conditions.charge_temperature_k, self.table.battery_v
        )

    @cached_property
    def gain(self) -> FloatArray:
        """Pulse per unit of the cell, without dead time, s per fraction or s per s."""
        return controller.gain(self.table, self.table.intended_lambda, self.settings, self.sensed)

    @cached_property
    def rail_factor(self) -> FloatArray:
        """Flow that the ECU believes in over the one that it was told."""
        return controller.rail_pressure_factor(self.settings, self.sensed)

    @cached_property
    def told_time(self) -> FloatArray:
        """The commanded pulse without the ECU's dead time, s."""
        return self.chain.pulse_s - controller.offset(self.table, self.settings, self.sensed)

    @cached_property
    def told_opening(self) -> FloatArray:
        """The same without the extra time that the ECU adds to a short pulse, if it adds one, s."""
        return self.told_time if self.settings.added is None else self.settings.added.by_line(self.told_time)

    @cached_property
    def opening_by_line(self) -> FloatArray:
        """Opening time that the fuel of a cell would take by the flow line alone, s."""
        injectors = self.installation.injectors
        openings = injectors.per_cylinder * injectors.openings_per_cycle
        return self.chain.fuel_kg / (openings * self.chain.line_flow_kg_s)

    @cached_property
    def opening(self) -> FloatArray:
        """The same with the extra time that a short opening takes, if it takes any, s."""
        added = self.installation.injectors.added_time
        return self.opening_by_line if added is None else added.longer(self.opening_by_line)

    @cached_property
    def needed_pulse(self) -> FloatArray:
        """Pulse that delivers the fuel, whatever the ECU's minimum, s."""
        table = self.table
        at = delivery(self.installation, table.pressure_pa, table.rpm, table.battery_v)
        return at.pulse_s(self.chain.fuel_kg)
