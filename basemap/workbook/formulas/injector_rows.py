"""Pressure, flow and dead time of every load, as formulas of names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from xlsxwriter.utility import xl_range_abs

from basemap.adaptation.hardware import Delivery
from basemap.model.axes import LoadAxis
from basemap.model.job import Job, SideName
from basemap.workbook.core.interpolate import segment_formula, segment_number, value_formula
from basemap.workbook.core.row_places import RowKey
from basemap.workbook.formulas.row import Formula, Live, RowFormulas
from basemap.workbook.inputs.dead_time_blocks import SHEET, Block, block, blocks_of
from basemap.workbook.inputs.input_cell import plain


def pressure_scale(job: Job) -> tuple[float, bool]:
    """Size of the load's unit in kPa, negative for a vacuum, and whether it counts from the barometer."""
    shown, pressure = job.target.shown.load, job.donor.table.load_pa / 1e3
    size = float((pressure[-1] - pressure[0]) / (shown[-1] - shown[0])) if shown.size > 1 else 1.0
    rest = float(pressure[0] - size * shown[0])
    return size, abs(rest) > 1e-6 * float(pressure[-1])


@dataclass(frozen=True)
class InjectorRows(RowFormulas):
    """Formulas and values of what the injectors of each side see and pass."""

    def pressure(self) -> Live:
        """Manifold pressure of every row, kPa."""
        job = self.job
        return Live(lambda i: f"={self._pressure_of(self.address('load', i))}", job.donor.table.load_pa / 1e3)

    def _pressure_of(self, load: str) -> str:
        """A load as manifold pressure; words where the barometers differ, for each side counts from its own."""
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

    def side(self, side: SideName) -> dict[RowKey, Live]:
        """Pressure across the injectors, flow and dead time of one side."""
        at = self.delivery(side)
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
                self.of_rows(at.pressure_across_pa) / 1e3,
            )
        }
        if self.job.side(side).flow_known:
            found |= self._flows(side, keys, at)
        if self.job.side(side).dead_time_known:
            found |= self._dead_time(side, keys, at)
        return found

    def _flows(self, side: SideName, keys: Mapping[str, RowKey], at: Delivery) -> dict[RowKey, Live]:
        slope = self.job.side(side).hardware.injectors.line_key != "static_flow"
        density = f"{side}_fuel_density/{side}_rated_density_used"

        def flow(rated: str) -> Formula:
            return lambda i: (
                f"={rated}*SQRT(MAX({self.address(keys['across'], i)},0)/{side}_rated_pressure_used*{density})"
            )

        static = flow(f"{side}_static_rated_flow") if slope else lambda i: f"={self.address(keys['flow'], i)}"
        return {
            keys["flow"]: Live(flow(f"{side}_rated_flow"), self.of_rows(at.line_flow_kg_s) * 1e3),
            keys["static"]: Live(static, self.of_rows(at.static_flow_kg_s) * 1e3),
        }

    def _dead_time(self, side: SideName, keys: Mapping[str, RowKey], at: Delivery) -> dict[RowKey, Live]:
        one = block(blocks_of(self.computed), side)
        values = self.of_rows(at.dead_time_s) * 1e3
        if not one.over_pressure:
            return {keys["dead"]: Live(lambda _: f"={side}_dead_time", values)}
        pressures = one.dead_time.pressure_pa
        assert pressures is not None
        across = self.of_rows(at.pressure_across_pa)
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


def _pressure_order(one: Block) -> tuple[str, str]:
    """Addresses of all pressures but the last, and of all but the first."""
    pressures = one.dead_time.pressure_pa
    assert pressures is not None
    row, first, last = one.pressure_row, one.col + 1, one.col + pressures.size
    return (
        f"'{SHEET}'!{xl_range_abs(row, first, row, last - 1)}",
        f"'{SHEET}'!{xl_range_abs(row, first + 1, row, last)}",
    )
