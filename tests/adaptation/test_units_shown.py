"""In which units a job is shown: those that it is written in."""

from __future__ import annotations

from dataclasses import replace

import pytest

import basemap
from basemap.adaptation.first_start_card import first_start_card
from basemap.adaptation.pipeline import adapt
from basemap.adaptation.units_shown import fuel_pressure, in_units_of, manifold_pressure, temperature
from basemap.model.job import Job
from tests.samples.make_samples import SAMPLES


@pytest.fixture(scope="module")
def imperial() -> Job:
    """Barometer in inHg, load axis in psi gauge, rail in psi, air in degF."""
    return basemap.load_job(SAMPLES / "hill_climb.toml")


@pytest.fixture(scope="module")
def metric() -> Job:
    return basemap.load_job(SAMPLES / "ferry_van.toml")


def test_units_are_those_of_the_job(imperial: Job, metric: Job) -> None:
    names = [[of(job).name for of in (manifold_pressure, fuel_pressure, temperature)] for job in (imperial, metric)]
    assert names == [["psi absolute", "psi", "degF"], ["kPa", "bar", "degC"]]


def test_where_the_axis_is_no_pressure_the_barometer_has_the_unit(imperial: Job) -> None:
    shown = replace(imperial.target.shown, load_unit="%")
    throttle = replace(imperial, target=replace(imperial.target, shown=shown))
    assert manifold_pressure(throttle).name == "inHg absolute"


@pytest.mark.check_value
def test_our_own_words_in_the_units_of_the_job(imperial: Job, metric: Job) -> None:
    # NIST SP 811, B.8: 1 psi is 6.894757 kPa, so that 35 kPa are 5.076 psi and 0.5 bar 7.25 psi; 0 degC are 32 degF
    # and a difference of 20 K one of 36 degF.
    assert in_units_of(imperial, "900 rpm @ 35 kPa") == "900 rpm @ 5.08 psi absolute"
    assert in_units_of(imperial, "0 degC") == "32 degF"
    assert in_units_of(imperial, "20 degC", difference=True) == "36 degF"
    assert in_units_of(imperial, "0.5 bar", difference=True) == "7.25 psi"
    assert in_units_of(metric, "900 rpm @ 35 kPa, 0 degC, 3.0 bar") == "900 rpm @ 35 kPa, 0 degC, 3.0 bar"


@pytest.mark.check_value
def test_the_card_is_written_in_the_units_of_the_job(imperial: Job) -> None:
    # 28.9 inHg are 14.194 psi, 3 kPa 0.435 psi, 35 kPa 5.076 psi (NIST SP 811, B.8); 3 K are 5.4 degF.
    parts = {part.key: {line.key: line for line in part.lines} for part in first_start_card(adapt(imperial)).parts}
    assert parts["key_on"]["map"].expect == "14.19 psi absolute ± 0.43"
    assert parts["key_on"]["cold_soaked"].expect == "± 5.4 degF, cold-soaked 8 h"
    assert parts["idle"]["map"].expect == "5.076 psi absolute (assumed)"
    # For other programs the number stays in kPa.
    assert (parts["idle"]["map"].value, parts["idle"]["map"].unit) == (35.0, "kPa")
