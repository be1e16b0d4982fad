"""Write the grids of sample_tables: ``python -m tests.samples.make_samples``. All of it is invented."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

from tests.samples import invented
from tests.samples.refused import FOLDER, files

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"

SPEEDS_16 = (600, 800, 1000, 1250, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500, 7000)
LOADS_16 = (20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 90, 95, 100)
SPEEDS_12 = (700, 1000, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000)
LOADS_10 = (25, 30, 40, 50, 60, 70, 80, 90, 95, 100)
SPEEDS_14 = (800, 1000, 1500, 2000, 2500, 3000, 3500, 4000, 4500, 5000, 5500, 6000, 6500, 7000)
SPEEDS_11 = (600, 900, 1200, 1600, 2000, 2400, 2800, 3200, 3600, 4000, 4400)
AIR_MG = (60, 90, 120, 160, 200, 250, 300, 350, 400, 450, 500, 550)
OPENINGS = (0, 3, 6, 9, 13, 18, 25, 35, 50, 70, 100)
LOADS_PSI = (-10, -8, -6, -4, -2, 0, 2, 4, 6, 8, 10, 12)

PSI_KPA = 6.894757293168
HILL_BAROMETER_KPA = 28.9 * 3.386388640341

Cell = Callable[[float, float], float]


@dataclass(frozen=True)
class Grid:
    """A grid as a file holds it: columns are rpm, rows are load, from top to bottom as given.

    Parameters
    ----------
    title
        First line of the file.
    corner
        Text above the loads and left of the speeds.
    """

    title: str
    corner: str
    rpm: Sequence[int]
    load: Sequence[int]
    cell: Cell
    decimals: int

    def rows(self) -> list[list[str]]:
        """Head line and rows as text, with a decimal point."""
        body = [[str(load), *(_rounded(self.cell(rpm, load), self.decimals) for rpm in self.rpm)] for load in self.load]
        return [[self.corner, *(str(rpm) for rpm in self.rpm)], *body]

    def text(self, separator: str = ",", decimal: str = ".") -> str:
        """The whole file."""
        lines = [separator.join(one.replace(".", decimal) for one in row) for row in self.rows()]
        return "\n".join([self.title, *lines, ""])


def _rounded(value: float, decimals: int) -> str:
    return str(Decimal(repr(value)).quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP))


def hill_kpa(psi_gauge: float) -> float:
    """A gauge pressure of the hill climb car as an absolute one, kPa."""
    return HILL_BAROMETER_KPA + psi_gauge * PSI_KPA


def percent(breathing: invented.Breathing) -> Cell:
    """VE in per cent over rpm and kPa."""
    return lambda rpm, kpa: 100.0 * breathing.ve(rpm, kpa)


def orchard_pulse(rpm: float, kpa: float) -> float:
    """The whole pulse, ms."""
    return invented.ORCHARD_INJECTION.pulse_ms(invented.ORCHARD_PICKUP.ve(rpm, kpa), kpa)


def mill_yard_pulse(rpm: float, mg: float) -> float:
    """The whole pulse, ms, where the engine draws a few per cent more or less than the axis states."""
    air_kg = mg * 1e-6 * invented.mill_yard_share(rpm, mg)
    return invented.MILL_YARD_INJECTION.pulse_of_air_ms(air_kg / mill_yard_lambda(rpm, mg))


def mill_yard_lambda(_: float, mg: float) -> float:
    """Intended λ: 500 mg are as much as its cylinders hold wide open."""
    return round(invented.atmospheric_lambda(0.19 * mg), 3)


def big_six_pulse(rpm: float, kpa: float) -> float:
    """The pulse without its dead time, ms."""
    return invented.BIG_SIX_INJECTION.pulse_ms(invented.BIG_SIX.ve(rpm, kpa), kpa)


FERRY_VAN_FUEL = Grid(
    "Invented data: fuel table of a 2.0 l van, VE in %", "kPa", SPEEDS_16, LOADS_16, percent(invented.FERRY_VAN), 1
)
FERRY_VAN_LAMBDA = Grid(
    "Invented data: intended lambda of a 2.0 l van",
    "kPa",
    SPEEDS_16,
    LOADS_16,
    lambda _, kpa: invented.atmospheric_lambda(kpa),
    3,
)
ORCHARD_PICKUP_FUEL = Grid(
    "Invented data: fuel table of a 1.6 l pick-up", "kPa \\ rpm", SPEEDS_12, LOADS_10[::-1], orchard_pulse, 3
)
WRONG_ENGINE_FUEL = Grid("Invented data: fuel table of nobody knows what", "kPa", SPEEDS_12, LOADS_10, big_six_pulse, 2)
HILL_CLIMB_FUEL = Grid(
    "Invented data: fuel table of a boosted 1.8 l hill climb car",
    "psi",
    SPEEDS_14,
    LOADS_PSI,
    lambda rpm, psi: 100.0 * invented.HILL_CLIMB.ve(rpm, hill_kpa(psi)),
    1,
)
HILL_CLIMB_LAMBDA = Grid(
    "Invented data: intended lambda of a boosted 1.8 l hill climb car",
    "psi",
    SPEEDS_14,
    LOADS_PSI,
    lambda _, psi: invented.boosted_lambda(hill_kpa(psi)),
    3,
)
MILL_YARD_FUEL = Grid(
    "Invented data: fuel table of a 2.2 l mill yard tractor", "mg", SPEEDS_11, AIR_MG, mill_yard_pulse, 3
)
MILL_YARD_LAMBDA = Grid(
    "Invented data: intended lambda of a 2.2 l mill yard tractor",
    "mg",
    SPEEDS_11,
    AIR_MG,
    mill_yard_lambda,
    3,
)
REED_BANK_FUEL = Grid(
    "Invented data: fuel table of a 1.6 l beach buggy, over throttle opening",
    "%",
    SPEEDS_12,
    OPENINGS[::-1],
    invented.buggy_pulse_ms,
    3,
)
REED_BANK_LAMBDA = Grid(
    "Invented data: intended lambda of a 1.6 l beach buggy",
    "%",
    (700, 6000),
    OPENINGS,
    lambda _, opening: invented.buggy_lambda(opening),
    3,
)
SPEEDS_6 = (800, 1500, 2500, 3500, 4500, 6000)
QUARRY_LOADER_FUEL = Grid(
    "Invented data: fuel table of a 1.6 l quarry loader, VE in %",
    "kPa",
    SPEEDS_6,
    (25, 40, 55, 70, 85, 100),
    percent(invented.QUARRY_LOADER),
    1,
)
# Wide open at 2500 rpm somebody typed a 5 for an 8.
QUARRY_LOADER_SLIP = QUARRY_LOADER_FUEL.text().replace("87.1", "57.1")
QUARRY_LOADER_THROTTLE = Grid(
    "Invented data: fuel table of a 1.6 l quarry loader over throttle opening, in % of the air at 100 kPa",
    "%",
    SPEEDS_6,
    (3, 6, 12, 25, 50, 100),
    invented.quarry_percent,
    1,
)
QUARRY_CRANE_FUEL = Grid(
    "Invented data: fuel table of a boosted 1.6 l quarry crane, VE in %",
    "kPa",
    SPEEDS_6,
    (25, 50, 75, 100, 140, 180),
    percent(invented.QUARRY_LOADER),
    1,
)
QUARRY_LOADER_LEAN_IDLE_LAMBDA = Grid(
    "Invented data: intended lambda of a quarry loader that somebody wants to idle too lean",
    "kPa",
    (800, 6000),
    (25, 40, 55, 100),
    lambda _, kpa: 1.4 if kpa < 55 else 0.9,
    2,
)
QUARRY_LOADER_RICH_LAMBDA = Grid(
    "Invented data: intended lambda of a quarry loader that somebody wants far too rich at load",
    "kPa",
    (800, 6000),
    (25, 80, 100),
    lambda _, kpa: 0.9 if kpa < 80 else 0.62,
    2,
)
# In the workbook rows are rpm and columns are load, below a title and an empty line.
HARBOUR_LAUNCH_FUEL = Grid(
    "Invented data: fuel table of a 1.2 l harbour launch",
    "rpm \\ kPa",
    SPEEDS_12,
    LOADS_10,
    percent(invented.HARBOUR_LAUNCH),
    1,
)


@dataclass(frozen=True)
class Line:
    """A table with one axis as a file holds it, in two columns or in two rows."""

    title: str
    axis: tuple[str, Sequence[int]]
    values: tuple[str, Sequence[str]]
    in_rows: bool = False

    def text(self) -> str:
        """The whole file."""
        columns = [[self.axis[0], *(str(point) for point in self.axis[1])], [self.values[0], *self.values[1]]]
        lines = columns if self.in_rows else [list(pair) for pair in zip(*columns, strict=True)]
        return "\n".join([self.title, *(",".join(line) for line in lines), ""])


COOLANT = ("degC", (-20, -10, 0, 10, 20, 40, 60, 80))
FERRY_VAN_CRANK = Line(
    "Invented data: cranking pulse of a 2.0 l van",
    COOLANT,
    ("ms", ("38.5", "31.0", "25.2", "20.8", "17.4", "13.1", "10.6", "9.2")),
)
FERRY_VAN_PRIME = Line(
    "Invented data: priming pulse of a 2.0 l van",
    COOLANT,
    ("ms", ("62.0", "48.0", "37.0", "28.5", "22.0", "14.0", "9.0", "6.5")),
    in_rows=True,
)
FERRY_VAN_WARM_UP = Line(
    "Invented data: fuel of a 2.0 l van while it warms up",
    COOLANT,
    ("%", ("162", "150", "139", "129", "121", "110", "103", "100")),
)

TEXT_FILES = {
    "ferry_van_fuel.csv": FERRY_VAN_FUEL.text(),
    "ferry_van_lambda.csv": FERRY_VAN_LAMBDA.text(),
    "ferry_van_crank.csv": FERRY_VAN_CRANK.text(),
    "ferry_van_prime.csv": FERRY_VAN_PRIME.text(),
    "ferry_van_warm_up.csv": FERRY_VAN_WARM_UP.text(),
    "orchard_pickup_fuel.csv": ORCHARD_PICKUP_FUEL.text(";", ","),
    "wrong_engine_fuel.csv": WRONG_ENGINE_FUEL.text(),
    "mill_yard_fuel.csv": MILL_YARD_FUEL.text(),
    "mill_yard_lambda.csv": MILL_YARD_LAMBDA.text(),
    "reed_bank_fuel.csv": REED_BANK_FUEL.text(),
    "reed_bank_lambda.csv": REED_BANK_LAMBDA.text(),
    "hill_climb_fuel.tsv": HILL_CLIMB_FUEL.text("\t"),
    "hill_climb_lambda.tsv": HILL_CLIMB_LAMBDA.text("\t"),
}
REFUSED_FILES = {
    "quarry_loader_fuel.csv": QUARRY_LOADER_FUEL.text(),
    "quarry_loader_slip_fuel.csv": QUARRY_LOADER_SLIP,
    "quarry_loader_throttle.csv": QUARRY_LOADER_THROTTLE.text(),
    "quarry_crane_fuel.csv": QUARRY_CRANE_FUEL.text(),
    "quarry_loader_lean_idle_lambda.csv": QUARRY_LOADER_LEAN_IDLE_LAMBDA.text(),
    "quarry_loader_rich_lambda.csv": QUARRY_LOADER_RICH_LAMBDA.text(),
    **dict(files()),
}
WORKBOOK = "harbour_launch_fuel.xlsx"


def launch_cells() -> list[list[str | float | None]]:
    """The workbook's sheet, row by row from A1: a title, an empty line, the grid from B4."""
    columns = list(zip(*HARBOUR_LAUNCH_FUEL.rows(), strict=True))
    head: list[str | float | None] = [None, HARBOUR_LAUNCH_FUEL.corner, *(float(load) for load in columns[0][1:])]
    body: list[list[str | float | None]] = [[None, *(float(one) for one in column)] for column in columns[1:]]
    return [[None, HARBOUR_LAUNCH_FUEL.title], [], [], head, *body]


def write_workbook(path: Path) -> None:
    """Write the launch's table as a spreadsheet file."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Fuel"
    for number, row in enumerate(launch_cells(), start=1):
        for column, value in enumerate(row, start=1):
            if value is not None:
                sheet.cell(number, column, value)
    for row_cells in sheet["C5:L16"]:
        for one in row_cells:
            one.number_format = "0.0"
    book.save(path)


def main() -> None:
    """Write every grid, and the jobs that are refused."""
    refused = SAMPLES / FOLDER
    refused.mkdir(exist_ok=True)
    for folder, texts in ((SAMPLES, TEXT_FILES), (refused, REFUSED_FILES)):
        for name, text in texts.items():
            (folder / name).write_text(text, encoding="utf-8", newline="\n")
    write_workbook(SAMPLES / WORKBOOK)


if __name__ == "__main__":
    main()
