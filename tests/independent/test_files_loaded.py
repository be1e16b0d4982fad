"""The two files that are loaded and the settings typed in give λ as promised: plain arithmetic on the files.

The ECU divides the air that its table stands for by the ratio, the lambda and the flow that it was told; the engine
draws air at the donor's volumetric efficiency and its own displacement. At one rail pressure, which follows the
manifold, the dead times are told truly and drop out.
"""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from basemap.__main__ import main
from basemap.exit_status import ExitStatus

DONOR_L, TARGET_L = 14.6, 9.8
DONOR_CC, TARGET_CC = 1998.0, 2393.0
FLOW_RATIO = 440.0 / 280.0 * (775.0 / 735.0) ** 0.5
"""Mass flow of the target's injectors over the donor's: the orifice equation, both rated at the rail's pressure."""

OLD = "kPa;1000;3500;6000\n30;48,3;55,1;51,7\n65;71,2;80,4;76,9\n100;84,6;92,3;88,8\n"
OLD_LAMBDA = "kPa,1000,3500,6000\n30,1.00,1.00,0.98\n65,1.00,0.98,0.95\n100,0.90,0.88,0.86\n"
GOAL = "kPa,1000,3500,6000\n30,14.7,14.55,14.2\n65,14.3,13.9,13.4\n100,12.7,12.35,12.1\n"
"""An air/fuel ratio that means 14.7 at lambda 1 whatever the fuel."""

SIDE = """
[{side}.engine]
displacement = "{cc} cc"
cylinders = 4
cycle = "four-stroke"
induction = "atmospheric"
rev_limit = "6000 rpm"
[{side}.injectors]
static_flow = "{flow} ccm/minute"
rated_pressure = "3 Bar"
per_cylinder = 1
openings_per_cycle = 1
[{side}.injectors.dead_time]
battery = ["8 V", "12 V", "16 V"]
time = ["2.4 ms", "1.1 ms", "0.6 ms"]
[{side}.fuel]
stoichiometric = {ratio}
density = "{density} kg/m3"
rail_pressure = "3 Bar"
regulator = "manifold"
"""

TABLES = """
[donor.settings]
same_as_hardware = true
[donor.tables.fuel]
file = "old.csv"
unit = "%"
quantity = "volumetric efficiency"
load = "manifold pressure"
load_unit = "kPa"
lambda = { file = "old_lambda.csv" }
[target.tables.fuel]
decimals = 2
lambda = { file = "goal.csv", quantity = "air/fuel ratio", basis = 14.7 }
"""


def grid(path: Path, separator: str) -> list[list[float]]:
    """The cells of a file that begins with a row of speeds."""
    lines = csv.reader(path.read_text(encoding="utf-8").splitlines(), delimiter=separator)
    rows = [line for line in lines if len(line) == 4]
    return [[float(cell.replace(",", ".")) for cell in row[1:]] for row in rows[1:]]


@pytest.mark.check_value
def test_both_files_and_the_settings_give_the_mixture_that_is_promised(tmp_path: Path) -> None:
    for name, text in (("old", OLD), ("old_lambda", OLD_LAMBDA), ("goal", GOAL)):
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    sides = SIDE.format(side="donor", cc=DONOR_CC, flow=280, ratio=DONOR_L, density=735) + SIDE.format(
        side="target", cc=TARGET_CC, flow=440, ratio=TARGET_L, density=775
    )
    (tmp_path / "job.toml").write_text(
        'title = "Invented"\n[donor]\nstate = "tuned"\n' + sides + TABLES, encoding="utf-8"
    )
    out = tmp_path / "out"
    ended = main(["adapt", str(tmp_path / "job.toml"), "--out", str(out), "--quiet"])
    assert ended == ExitStatus.OK

    said = json.loads((out / "job.json").read_text(encoding="utf-8"))
    promised = said["tables"]["fuel"]["stored_lambda_ratio"]
    forgotten = said["tables"]["fuel"]["lambda_table_left"]
    entered = {row["name"]: row["enter"] for row in said["settings"]}
    told_volume = entered["displacement"] / DONOR_CC
    told_flow, told_ratio = entered["static_flow"] / 280.0, entered["stoichiometric"]
    old, new = grid(tmp_path / "old.csv", ";"), grid(out / "fuel.new.csv", ";")
    commanded = grid(out / "lambda.new.csv", ",")
    goal, left = grid(tmp_path / "goal.csv", ","), grid(tmp_path / "old_lambda.csv", ",")
    for i in range(3):
        for j in range(3):
            # Air over air believed, times ratio told over ratio, times flow told over flow.
            off = old[i][j] / new[i][j] * (TARGET_CC / DONOR_CC) / told_volume
            off *= told_ratio / TARGET_L * told_flow / FLOW_RATIO
            wanted = goal[i][j] / 14.7
            # Honest agreement: 2e-15; the entries and the files are taken as they are printed.
            assert off * commanded[i][j] / wanted == pytest.approx(promised[i][j], rel=1e-9)
            assert off * commanded[i][j] / wanted == pytest.approx(1.0, abs=6e-3)
            exact = forgotten[i][j]
            assert left[i][j] / wanted == pytest.approx(exact, rel=1e-9)
