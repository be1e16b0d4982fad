"""What sensors read wrong, and what the data of the injectors leaves open where they are used: each by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from tests.belief.test_budget import budget_of, on_fuels
from tests.builders.computed import LOAD_KPA, make_job, with_both, with_target
from tests.builders.with_settings import built

RECTANGLE = math.sqrt(3.0)


def contributions(job: Job) -> dict[str, FloatArray]:
    """Each input's contribution to the band, by name."""
    found = budget_of(job)
    return {entry.name: row for entry, row in zip(found.inputs, found.contributions, strict=True)}


@pytest.mark.check_value
@pytest.mark.parametrize("side", ["donor", "target"])
def test_a_pressure_read_wrong(side: str) -> None:
    """±1.5 kPa (k = 2) is 0.75 kPa: 0.75 % of the fuel at 100 kPa and 3.75 % at 20 kPa, on either side."""
    row = np.abs(contributions(make_job())[f"pressure reading of the {side}"])
    assert row[:, 0] == pytest.approx(0.75 / LOAD_KPA, rel=1e-6)
    assert row[-1, 0] == pytest.approx(0.0075, rel=1e-6)
    assert row[0, 0] == pytest.approx(0.0375, rel=1e-6)


@pytest.mark.check_value
def test_a_charge_temperature_read_wrong() -> None:
    """±3 K of 313.15 K are 0.958 % of the air: as a rectangle 0.553 %, where the ECU corrects for it."""
    job = make_job()
    row = np.abs(contributions(job)["charge-temperature reading of the target"])
    assert row == pytest.approx(0.00958 / RECTANGLE, rel=1e-4)
    told = replace(job.target.told, corrects_charge_temperature=False)
    names = contributions(replace(job, target=replace(job.target, told=told)))
    assert "charge-temperature reading of the target" not in names
    assert "charge-temperature reading of the donor" in names


@pytest.mark.check_value
def test_a_dead_time_at_another_rail_pressure_than_that_of_its_data() -> None:
    """Rated at 3 bar, used at 3.8: 0.05 ms for each bar is 0.04 ms, where a dead time by itself has 0.05."""
    name = "dead time at its rail pressure of the target"
    job = with_target(make_job(), "fuel", rail_pressure_pa=3.8e5)
    rows = contributions(job)
    assert np.abs(rows[name]) == pytest.approx(np.abs(rows["dead time of the target"]) * 0.04 / 0.05, rel=1e-6)
    assert name not in contributions(make_job())
    # Data with its pressure says it.
    dead = replace(job.target.hardware.injectors.dead_time, pressure_pa=np.array([3.8e5]))
    assert name not in contributions(with_target(job, "injectors", dead_time=dead))


@pytest.mark.law
def test_the_same_injectors_at_one_other_pressure_cancel() -> None:
    """What both sides share enters once: at the same rail the same dead time is off on both, and nothing is left."""
    job = replace(with_both(make_job(), "fuel", rail_pressure_pa=4.0e5), same_as_donor=frozenset({"injectors"}))
    rows = contributions(job)
    assert np.abs(rows["dead time at its rail pressure of both"]).max() < 1e-9


@pytest.mark.check_value
def test_two_rating_fluids_are_two_unknowns() -> None:
    """Flow goes as the root of the density: 1 % is 0.5 %, as a rectangle 0.289 %, of each side for itself."""
    rows = contributions(make_job())
    for side in ("donor", "target"):
        row = np.abs(rows[f"density of the rating fluid of the {side}"])
        assert row == pytest.approx(0.005 / RECTANGLE, rel=1e-6)
    same = contributions(replace(make_job(), same_as_donor=frozenset({"injectors"})))
    assert np.abs(same["density of the rating fluid of both"]).max() < 1e-9


@pytest.mark.check_value
def test_a_fuel_of_another_family_flows_otherwise() -> None:
    """1 % of the flow, as a rectangle 0.577 % of λ; petrol with a little more ethanol is of one family."""
    name = "discharge coefficient with a fuel of another family"
    rows = contributions(on_fuels({"petrol": 1.0}, {"petrol": 0.15, "ethanol": 0.85}))
    assert np.abs(rows[name]) == pytest.approx(0.01 / RECTANGLE, rel=1e-6)
    assert name not in contributions(on_fuels({"petrol": 1.0}, {"petrol": 0.9, "ethanol": 0.1}))


@pytest.mark.law
def test_a_job_says_how_far_off_a_sensor_reads(tmp_path: Path) -> None:
    """A better sensor has its share of the band, and no scale is asked for; k = 2 as its data sheet has it."""
    stated = '\n[target.sensors.map]\nerror = "0.4 kPa"\n\n[donor.sensors.iat]\nerror = "1 K"\n'
    before, after = (contributions(built(tmp_path, text)) for text in ("", stated))
    name = "pressure reading of the target"
    assert np.abs(after[name]) == pytest.approx(np.abs(before[name]) * 0.4 / 1.5, rel=1e-6)
    assert before["pressure reading of the donor"] == pytest.approx(after["pressure reading of the donor"], rel=1e-9)
    if "charge-temperature reading of the donor" in before:
        ratio = after["charge-temperature reading of the donor"] / before["charge-temperature reading of the donor"]
        assert ratio == pytest.approx((1.0 / 2.0) / (3.0 / RECTANGLE), rel=1e-6)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            '[target.sensors.map]\nerror = "3 K"',
            '"3 K" is a temperature, not a difference of pressures such as "1.5 kPa"',
        ),
        ('[target.sensors.map]\nerror = "40 kPa"', '"40 kPa" is outside the plausible range 0 kPa to 20 kPa'),
        (
            '[target.sensors.tp]\nerror = "1.5 %"',
            'is not used: did you mean the sensor "tps"? Only the spreads of "map", "iat" and "tps" enter the band on '
            "the mixture",
        ),
        (
            '[target.sensors.ect]\nerror = "2 K"',
            'is not used: only the spreads of "map", "iat" and "tps" enter the band on the mixture; leave it out',
        ),
    ],
)
def test_what_is_no_error_of_such_a_sensor(text: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, f"\n{text}\n")
    place = text.partition("]")[0].removeprefix("[")
    assert str(caught.value) == f"job.toml: {place}.error: {said}"
