"""`basemap card`: a page at 80 columns, and the same for other programs."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest

from tests.cli.program import SAMPLES, run

pytestmark = pytest.mark.usefixtures("each_sample_once")
FERRY = SAMPLES / "ferry_van.toml"
PARTS = ["before", "key_on", "cranking", "idle", "load", "charging", "not_adapted"]


def test_the_card_fits_and_has_boxes() -> None:
    ended = run("card", FERRY)
    assert (ended.status, ended.stderr) == (0, "")
    lines = ended.stdout.splitlines()
    assert max(len(line) for line in lines) <= 80
    assert lines[0] == "First start: Ferry-lane van: 2.0 petrol map onto the 2.4 on E85 (invented data)"
    assert [line for line in lines if line.isupper() or line.startswith("IDLE")] == [
        "BEFORE TURNING THE KEY",
        "KEY ON, ENGINE OFF",
        "CRANKING",
        "IDLE: 900 RPM, WARM, ALL TRIMS OFF",
        "FIRST LOAD: IN STEPS, WIDEBAND IN VIEW",
        "CHARGING",
        "NOT ADAPTED: TICK WHAT SOMEBODY QUALIFIED HAS SET",
    ]
    assert "[ ] Battery*: 13.2 to 14.8 V\n    caution < 13.0 V after 30 s, > 15.0 V for 2 s; STOP " in ended.stdout
    assert "[ ] Pulse, 5 degC, 8, 9, 10 V: " in ended.stdout
    assert "[ ] Dead time at 8, 9, 10 V: 2.95, 2.50, 2.05 ms\n" in ended.stdout


def test_the_card_for_other_programs() -> None:
    content = json.loads(run("card", FERRY, "--json").stdout)
    assert sorted(content) == ["limits", "notes", "parts", "schema", "title", "warning"]
    assert [part["name"] for part in content["parts"]] == PARTS
    lines = {line["key"]: line for part in content["parts"] if part["name"] == "idle" for line in part["lines"]}
    # λ 1 but for the rounding of the cells: those around idle are above 30 %, in steps of 0.1 %.
    assert lines["lambda"]["value"] == pytest.approx(1.0, abs=0.05 / 30.0)
    assert lines["lambda"]["value"] != lines["lambda"]["intended"] == 1.0
    assert lines["lambda"]["low"] < lines["lambda"]["value"] < lines["lambda"]["high"]
    assert lines["lambda_per_volt"]["value"] > 0 > lines["lambda_per_volt"]["low"]
    assert content["warning"] is None


def test_the_pulse_between_the_cells_around_idle() -> None:
    table = json.loads(run("check", FERRY, "--json").stdout)["tables"]["fuel"]
    card = json.loads(run("card", FERRY, "--json").stdout)
    pulse = next(line for line in card["parts"][3]["lines"] if line["key"] == "pulse")["value"]
    rows = [row for row, load in enumerate(table["load"]) if 30 <= load <= 40]
    columns = [column for column, rpm in enumerate(table["rpm"]) if 800 <= rpm <= 1000]
    around = [table["pulse_ms"][row][column] for row in rows for column in columns]
    assert min(around) <= pulse <= max(around)


def test_the_cranking_pulse_is_that_of_the_cranking_table() -> None:
    tables = json.loads(run("check", FERRY, "--json").stdout)["tables"]
    pulses = dict(zip(tables["crank"]["axis"], tables["crank"]["stored"], strict=True))
    # The coldest start of the job, 5 °C, lies half way from 0 to 10 °C; the dead time is inside the cells.
    expected = 0.5 * (pulses[0] + pulses[10])
    card = json.loads(run("card", FERRY, "--json").stdout)
    line, mixture = (
        next(line for line in card["parts"][2]["lines"] if line["key"] == key) for key in ("pulse", "lambda")
    )
    assert (line["low"], line["high"]) == pytest.approx((expected, expected))
    # The wider of the two bands beside it, by its lean end, never printed narrower than it is.
    wider = math.ceil(1e3 * math.expm1(max(tables["crank"]["relative_uncertainty"][2:4]))) / 10
    assert line["expect"] == ", ".join([f"{expected:.2f}"] * 3) + " ms, calibrate"
    assert mixture["expect"].endswith(f" %, ±{wider:.1f} % (k = 2)")


def test_a_stop_is_said_first() -> None:
    ended = run("card", SAMPLES / "wrong_engine.toml")
    assert ended.status == 0
    # After the title and both engines.
    stop = "\n\nSTOP: do not start the engine on this map (implied-ve"
    assert ended.stdout.index(stop) < ended.stdout.index("BEFORE TURNING THE KEY")


@pytest.mark.parametrize("command", ["card", "sensors"])
def test_a_missing_job_is_one_message(command: str, jobs: Path) -> None:
    ended = run(command, "nothing.toml")
    assert (ended.status, ended.stdout) == (2, "")
    assert ended.stderr == "basemap: nothing.toml: no such file: expected a job file such as van.toml\n"
