"""`basemap sensors`: what it prints, what it says to other programs, how it ends."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.program import SAMPLES, run

FERRY = SAMPLES / "ferry_van.toml"
WIDEBAND = """
[donor.sensors.wideband]
kind = "air/fuel ratio"
volts = ["0 V", "5 V"]
value = ["10", "20"]
basis = 14.7

[target.sensors.wideband]
kind = "lambda"
volts = ["0 V", {middle}"5 V"]
value = ["0.6", {value}"1.4"]
"""


def job(folder: Path, sensors: str) -> Path:
    path = folder / "ferry_van.toml"
    text = path.read_text(encoding="utf-8")
    start = text.find("[donor.sensors")
    assert start < 0
    path.write_text(text + sensors, encoding="utf-8")
    return path


def straight() -> str:
    return WIDEBAND.format(middle="", value="")


def bent() -> str:
    return WIDEBAND.format(middle='"2.5 V", ', value='"0.9", ')


def test_what_is_printed(jobs: Path) -> None:
    ended = run("sensors", job(jobs, straight()))
    assert (ended.status, ended.stderr) == (0, "")
    assert all(len(line) <= 80 for line in ended.stdout.splitlines())
    assert ended.stdout.startswith(
        """Ferry-lane van: 2.0 petrol map onto the 2.4 on E85 (invented data)
  map of 1998 cc, 4 cyl, 4 x 280 cc/min at 3 bar, manifold rail 3 bar, E5, tuned
  onto   2393 cc, 4 cyl, 4 x 650 cc/min at 3 bar, fixed rail 3.5 bar, E78

WIDEBAND: AIR/FUEL RATIO
  The map's scale left as it is, in air/fuel:
  volts   true  map reads  error   lambda  low      |       high
  0.000   8.82         10  +1.18  -11.8 %            |         *
  0.625  10.29      11.25  +0.96   -8.6 %            |       *
"""
    )
    # By hand: 14.7 · (0.6 + 0.8·V/5) against 10 + 10·V/5.
    assert (
        """  The table to enter, in air/fuel, on the map's own voltages:
  volts  held  enter
  0.000    10   8.82
  5.000    20  20.58
  Largest error left between these points: 0 air/fuel at """
        in ended.stdout
    )
    assert "\nFINDINGS\ncaution  wideband-scale: If loaded as it is, wideband reads " in ended.stdout


def test_a_stop_ends_with_three(jobs: Path) -> None:
    ended = run("sensors", job(jobs, bent()))
    assert ended.status == 3
    # The map holds two points, so that at 2.5 V it reads λ 1.0 for the 0.9 that is meant.
    assert "\nSTOP     wideband-scale: With the table entered on the map's own 2 voltages," in ended.stdout
    assert run("check", jobs / "ferry_van.toml").status == 3


def test_other_programs_get_every_number(jobs: Path) -> None:
    ended = run("sensors", job(jobs, straight()), "--json")
    content = json.loads(ended.stdout)
    assert sorted(content) == ["findings", "schema", "sensors", "title"]
    (sensor,) = content["sensors"]
    assert sensor["held"] == {"volts": [0.0, 5.0], "value": pytest.approx([10.0, 20.0])}
    assert sensor["fitted"] == {"volts": [0.0, 5.0], "value": pytest.approx([8.82, 20.58])}
    assert sensor["judged_between"] == pytest.approx([0.7 * 14.7, 1.2 * 14.7])
    assert [point["enter"] for point in sensor["table_to_enter"]] == pytest.approx([8.82, 20.58])
    as_loaded = sensor["as_loaded"]
    assert as_loaded["volts"][0] == 0.0
    assert as_loaded["error"][0] == pytest.approx(1.18)
    assert as_loaded["lambda_ratio"][0] == pytest.approx(0.882)
    # The lower end of the judged range, λ 0.7, is the furthest off: 0.625 V, where the map reads 11.25.
    assert as_loaded["largest_error_judged"] == pytest.approx(
        {"volts": 0.625, "true": 10.29, "read": 11.25, "error": 0.96}
    )
    assert [finding["rule"] for finding in content["findings"]] == ["wideband-scale"]


@pytest.mark.usefixtures("plain_files_only")
def test_the_same_numbers_stand_in_what_adapt_writes(jobs: Path) -> None:
    path = job(jobs, straight())
    assert run("adapt", path).status == 0
    written = json.loads((jobs / "ferry_van-adapted" / "ferry_van.json").read_text(encoding="utf-8"))
    assert written["sensors"] == json.loads(run("sensors", path, "--json").stdout)["sensors"]


def test_a_side_that_is_not_stated(jobs: Path) -> None:
    ended = run("sensors", job(jobs, straight().split("[target")[0]))
    assert "  Not compared: the scale of the fitted sensor is not known. State\n" in ended.stdout
    assert "  target.sensors.wideband.\n" in ended.stdout
    assert ended.status == 0


def test_a_job_without_sensors_says_how_they_are_given(jobs: Path) -> None:
    ended = run("sensors", jobs / "ferry_van.toml")
    assert ended.status == 0
    assert ended.stdout.splitlines()[4:] == [
        "  The job states no sensors. Put the scale in the map under [donor.sensors.NAME]",
        "  and the scale from the maker of the fitted sensor under [target.sensors.NAME];",
        "  a borrowed map brings its own scales along.",
    ]


def test_bad_input_is_one_message(jobs: Path) -> None:
    path = job(jobs, straight().replace("basis = 14.7\n", ""))
    ended = run("sensors", path)
    assert (ended.status, ended.stdout) == (2, "")
    assert ended.stderr == (
        f"basemap: {path}: donor.sensors.wideband.basis: missing: give the stoichiometric ratio of the scale, such as "
        "14.7\n"
    )


MAP = """
[donor.sensors.map]
kind = "pressure"
volts = ["0 V", "5 V"]
value = ["0 kPa absolute", "250 kPa absolute"]

[target.sensors.map]
kind = "pressure"
volts = ["0 V", "5 V"]
value = ["0 kPa absolute", "300 kPa absolute"]
"""


def test_the_tables_alone_are_not_all_that_is_loaded(jobs: Path) -> None:
    """What the untouched tables do is said as if every sensor were read rightly; where one is not, that is said too."""
    reminder = ", apart from the sensor scales below."
    with_scales = " ".join(run("check", str(job(jobs, MAP))).stdout.split())
    assert f"Do not load this map as it is: 29.7 to 36.6 % rich, hardly runs{reminder}" in with_scales
    assert reminder not in " ".join(run("check", str(FERRY)).stdout.split())
