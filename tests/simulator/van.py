"""The first drive of the worked example: ``python -m tests.simulator.van`` writes its log into the demo.

The van is invented, and so is what is wrong with it: it breathes somewhat otherwise than the donor, and its
alternator's voltage climbs.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.simulator.car import Breathing, Car, Electrics, FloatArray, Hardware, Sensors
from tests.simulator.drive import Drive, simulate
from tests.simulator.files import Shape, write_log

DEMO = Path(__file__).resolve().parents[2] / "basemap" / "cli" / "demo_files"
LOG = "ferry_van_first_drive.csv"
SEED, SECONDS = 11, 280.0
# Of E78, by volumes of 745 and 794 kg/m3 and ratios of 14.6 and 9.0: a hand calculation, warm in the rail.
STOICHIOMETRIC, DENSITY = 10.17, 763.0


def van(loaded: FloatArray, intended: FloatArray, rpm: FloatArray, kpa: FloatArray) -> Car:
    """The van with a table loaded, as fractions, over its axes."""
    dead = np.array([2.95, 2.05, 1.42, 1.02, 0.80]) * 1e-3
    told = Hardware(2393e-6, 650e-6 / 60, 3.5e5, True, dead, STOICHIOMETRIC, DENSITY, barometer_pa=101_325.0)
    true = replace(told, flow_m3_s=told.flow_m3_s * 1.008, rail_pa=3.46e5, shift_s=0.012e-3)
    breathing = Breathing(common=0.035, step=0.02, step_rpm=4200.0, ripple=0.01, ripple_order=2500.0, tilt=-0.05)
    return Car(
        told, told, true, true, breathing, 1.012, loaded, intended,
        sensors=Sensors(pressure_offset_pa=300.0, charge_offset_k=1.0, probe_scale=1.006),
        electrics=Electrics(charging_v=14.1, climb_v_per_min=0.9, cranking_v=9.6),
        rpm=rpm, kpa=kpa,
    )  # fmt: skip


def first_drive(loaded: FloatArray, intended: FloatArray, rpm: FloatArray, kpa: FloatArray) -> Drive:
    """The drive itself: from cold, until somebody looks at the voltage."""
    return simulate(van(loaded, intended, rpm, kpa), SECONDS, SEED)


def grid(path: Path) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Axes and cells of a grid file with its speeds in the first row."""
    rows = [line.split(",") for line in path.read_text(encoding="utf-8").splitlines() if line.count(",") > 3]
    speeds = np.array([float(cell) for cell in rows[0][1:]])
    values = np.array([[float(cell) for cell in row] for row in rows[1:]])
    return speeds, values[:, 0], values[:, 1:]


def write(loaded: Path, folder: Path) -> Path:
    """Write the log of the drive with the table that `adapt` wrote."""
    rpm, kpa, cells = grid(loaded)
    _, _, intended = grid(DEMO / "ferry_van_lambda.csv")
    drive = first_drive(cells / 100.0, intended, rpm, kpa)
    return write_log(drive, folder / LOG, Shape(rate_hz=6.25))


def main() -> None:
    """Write the log of the demo anew, from the table that the program writes now."""
    import tempfile

    from basemap.__main__ import main as program

    with tempfile.TemporaryDirectory() as folder:
        program(["demo", folder])
        print(write(Path(folder) / "ferry_van-adapted" / "fuel.new.csv", DEMO))


if __name__ == "__main__":
    main()
