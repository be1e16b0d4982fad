"""Jobs that between them use every formula of the workbook."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from basemap.model.result import Result
from basemap.workbook import write_workbook
from tests.workbook.invented_job import (
    LAMBDA_FILE,
    Data,
    Grid,
    fuel_cells,
    job_data,
    loads_kpa,
    result_of,
    write_tables,
)

OVER_PRESSURE = {
    "battery": ["8 V", "11 V", "13 V", "15 V"],
    "pressure": ["2.5 bar", "3.0 bar", "4.0 bar"],
    "time": [
        ["2.30 ms", "1.36 ms", "0.95 ms", "0.68 ms"],
        ["2.40 ms", "1.45 ms", "1.02 ms", "0.74 ms"],
        ["2.70 ms", "1.66 ms", "1.17 ms", "0.85 ms"],
    ],
}
BENT_LINE = {"below": "400 cc/min ± 4 %", "above": "322 cc/min", "at_mass": "6.3 mg ± 10 %"}
PULSE = {"donor.tables.fuel.quantity": "pulse width", "donor.tables.fuel.unit": "ms"}


@dataclass(frozen=True, eq=False)
class Variant:
    """One job: what differs from the invented one, its size, and the tables it lies on."""

    name: str
    changes: dict[str, Any] = field(default_factory=dict)
    rows: int = 6
    cols: int = 5
    pulses: bool = False
    load: Grid | None = None

    @property
    def data(self) -> Data:
        """The job as a job file would give it."""
        return job_data(self.changes)

    @property
    def cells(self) -> Grid:
        """Its fuel table."""
        return fuel_cells(self.rows, self.cols, pulses=self.pulses)

    def write_tables(self, folder: Path) -> None:
        """Put its tables into a folder."""
        write_tables(folder, self.rows, self.cols, pulses=self.pulses, load=self.load)

    def result(self, folder: Path) -> Result:
        """Its answer; its tables are left in the folder."""
        self.write_tables(folder)
        return result_of(self.data, folder)


@dataclass(frozen=True)
class Issued:
    """A variant's answer, and the workbook that was written of it."""

    result: Result
    content: bytes


@cache
def adapted(variant: Variant) -> Result:
    """A variant's answer, once in a process."""
    with TemporaryDirectory() as folder:
        return variant.result(Path(folder))


@cache
def issued(variant: Variant) -> Issued:
    """Adapt a variant and write its workbook, once in a process."""
    stream = BytesIO()
    write_workbook(adapted(variant), stream)
    return Issued(adapted(variant), stream.getvalue())


GAUGE_PSI = np.round((loads_kpa(6) + 20.0 - 100.9) / 6.894757, 2)

STUCK = Variant(
    "settings that are stuck",
    {
        "target.settings": {"cannot_be_told": ["stoichiometric", "dead_time"], "static_flow": "300 cc/min"},
        "donor.settings": {
            "displacement": "2000 cc",
            "stoichiometric": 14.4,
            "dead_time": {"battery": ["10 V", "14 V"], "time": ["1800 us", "900 us"]},
            "formula_factor": 1.03,
        },
        "target.tables.fuel.lambda": 0.9,
    },
)

VARIANTS = (
    Variant("a page for each table", {"donor.tables.fuel.lambda": LAMBDA_FILE}, 4, 18),
    STUCK,
    Variant(
        "pulse width, dead time outside",
        {
            **PULSE,
            "donor.tables.fuel.ecu_applies": ["pressure", "dead time"],
            "donor.tables.fuel.reference_pressure": "95 kPa",
            "donor.conditions": {"altitude": "420 m"},
            "target.conditions": {"charge_temperature": "311 K"},
        },
        pulses=True,
    ),
    Variant(
        "pulse width, dead time inside",
        {
            **PULSE,
            "target.tables.fuel.step": 0.008,
            "donor.tables.fuel.ecu_applies": [],
            "donor.tables.fuel.battery": "14.1 V",
            "target.tables.fuel.battery": "12.9 V",
        },
        pulses=True,
    ),
    Variant(
        "from pulse width to volumetric efficiency",
        {
            **PULSE,
            "donor.tables.fuel.ecu_applies": ["pressure", "dead time"],
            "donor.tables.fuel.reference_pressure": "95 kPa",
            "target.conditions": {"charge_temperature": "311 K"},
            "target.settings": {"corrects_rail_pressure": True, "formula_factor": 1.02, "static_flow": "600 cc/min"},
            "target.tables.fuel": {"quantity": "volumetric efficiency", "lambda": 0.9, "step": 0.5, "maximum": 90},
        },
        pulses=True,
    ),
    Variant(
        "from volumetric efficiency to pulse width, dead time inside",
        {
            "target.conditions": {"charge_temperature": "311 K"},
            "donor.settings": {"corrects_charge_temperature": False, "displacement": "2000 cc"},
            "target.tables.fuel": {"quantity": "pulse width", "ecu_applies": ["lambda"], "step": 0.008},
        },
    ),
    Variant(
        "from volumetric efficiency to pulse width, a donor without what cancels",
        {
            "donor.injectors": None,
            "donor.fuel": {"regulator": "manifold"},
            "target.conditions": {"charge_temperature": "30 degC"},
            "target.settings": {"corrects_charge_temperature": True},
            "target.tables.fuel": {
                "quantity": "pulse width",
                "ecu_applies": ["pressure", "dead time"],
                "reference_pressure": "0.98 bar absolute",
            },
        },
    ),
    Variant(
        "two fuels, typed and as parts; dead times at the ECU's own voltages",
        {
            "donor.fuel": {
                "stoichiometric": 14.6,
                "density": "748 kg/m3",
                "density_at": "15 degC",
                "rail_pressure": "43.5 psi",
                "regulator": "manifold",
                "temperature": "100 degF",
            },
            "target.fuel": {
                "parts": {"petrol": 30, "methanol": 10, "ethanol": "60 ± 4"},
                "rail_pressure": "3.2 bar",
                "regulator": "manifold",
            },
            "target.injectors.count": 8,
            "target.injectors.per_cylinder": None,
            "target.injectors.dead_time": OVER_PRESSURE,
            "target.settings": {"dead_time": {"battery": ["9 V", "12 V", "16 V"]}},
        },
    ),
    Variant(
        "saturation, with a slope, mass ratings and a shortest pulse",
        {
            "donor.injectors.static_flow": "24 lb/h",
            "target.injectors.static_flow": "165 cc/min",
            "target.injectors.slope": "158 cc/min",
            "target.injectors.openings_per_cycle": 2,
            "donor.settings": {"minimum_pulse": "3.1 ms"},
            "target.settings": {"minimum_pulse": "2.9 ms"},
            "target.tables.fuel": {"decimals": 2, "minimum": 5, "maximum": 105},
        },
    ),
    Variant(
        "dead time over pressure, ECUs that are told the fuel's density",
        {
            "donor.injectors.dead_time": OVER_PRESSURE,
            "target.injectors.dead_time": OVER_PRESSURE,
            "donor.injectors.bent_line": {"below": "310 cc/min", "above": "276 cc/min", "at_mass": "7 mg"},
            "target.injectors.static_flow": "330 cc/min",
            "target.injectors.bent_line": BENT_LINE,
            "donor.settings": {
                "corrects_rail_pressure": True,
                "corrects_charge_temperature": False,
                "fuel_density": "0.74 g/cc",
                "bent_line": True,
            },
            "target.conditions": {"charge_temperature": "35 degC", "barometer": "97 kPa"},
        },
    ),
    Variant(
        "gauge loads, lambda and pressure inside the cells; two slopes, of which neither ECU was told",
        {
            "donor.tables.fuel.load_unit": "psi gauge",
            "donor.tables.fuel.ecu_applies": ["dead time"],
            "donor.injectors.bent_line": {"below": "310 cc/min", "above": "276 cc/min", "at_mass": "7 mg"},
            "target.injectors.static_flow": "330 cc/min",
            "target.injectors.openings_per_cycle": 2,
            "target.injectors.bent_line": BENT_LINE,
            "donor.engine.induction": "boosted",
            "donor.engine.peak_pressure": "130 kPa",
            "target.engine.induction": "boosted",
            "target.engine.peak_pressure": "125 kPa",
        },
        load=GAUGE_PSI,
    ),
    Variant(
        "a donor without what cancels, a table of lambda",
        {
            "donor.tables.fuel.lambda": LAMBDA_FILE,
            "donor.injectors": None,
            "donor.fuel": {"regulator": "manifold"},
            "target.settings": {"corrects_charge_temperature": False},
            "target.conditions": {"charge_temperature": "30 degC"},
        },
    ),
    Variant(
        "the same parts on both sides, a flow that is stuck beside a density that is not",
        {
            "target": {
                "same_as_donor": ["injectors", "fuel"],
                "engine": {
                    "displacement": "2030 cc",
                    "cylinders": 4,
                    "cycle": "four-stroke",
                    "induction": "atmospheric",
                    "rev_limit": "7000 rpm",
                },
            },
            "donor.settings": {"fuel_density": "740 kg/m3", "static_flow": "270 cc/min"},
            "target.settings": {"cannot_be_told": ["static_flow"]},
        },
    ),
    Variant(
        "two slopes, of which both ECUs were told",
        {
            "donor.injectors.bent_line": {"below": "30 lb/h", "above": "26 lb/h", "at_mass": "0.008 g"},
            "donor.settings": {"bent_line": True, "corrects_rail_pressure": True},
            "target.injectors.static_flow": "330 cc/min",
            "target.injectors.bent_line": BENT_LINE,
        },
    ),
    Variant(
        "two slopes of the donor that are stuck",
        {
            "donor.injectors.bent_line": {"below": "250 cc/min", "above": "276 cc/min", "at_mass": "7 mg"},
            "donor.settings": {"bent_line": True},
            "target.settings": {"cannot_be_told": ["bent_line"]},
        },
    ),
    Variant(
        "no pressure across the injectors in the top row, a table of lambda",
        {
            "donor.tables.fuel.lambda": LAMBDA_FILE,
            "target.fuel.rail_pressure": "0.32 bar",
            "target.engine.induction": "boosted",
            "target.engine.peak_pressure": "160 kPa",
            "donor.engine.induction": "boosted",
            "donor.engine.peak_pressure": "160 kPa",
        },
        load=np.round(np.linspace(40.0, 150.0, 6), 1),
    ),
)
