"""ecu_applies = "unknown"."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.jobfile.ecu_applies import all_meanings, implied_ve
from basemap.model.table import Inside
from tests.builders.files import assumed, refusal, valid, with_lines

# pulse_short.csv was worked out for 900 cc/min, with pressure and lambda inside the cells and the dead time outside.
READING = Inside(pressure=True, intended_lambda=False, dead_time=False)


def test_the_only_plausible_reading_is_used() -> None:
    job = valid("reading_settled")
    assert job.donor.table.inside == job.target.table.inside == READING
    listed = assumed(job)["donor.tables.fuel.ecu_applies"]
    assert listed.unknown
    assert listed.value.startswith('["lambda", "dead time"] implies a VE of 0.')


@pytest.mark.law
def test_it_is_the_reading_that_the_table_was_made_by() -> None:
    """The pulses were worked out from these efficiencies and rounded to 0.01 ms: 1 % of the shortest."""
    made_from = np.array([[42, 48, 50, 46], [60, 72, 74, 69], [66, 78, 82, 75], [70, 83, 88, 80]]) / 100
    job = valid("reading_settled")
    np.testing.assert_allclose(implied_ve(job.donor, READING), made_from, rtol=0.012)


@pytest.mark.law
def test_it_implies_what_the_adaption_decodes() -> None:
    job = valid("reading_settled")
    np.testing.assert_allclose(implied_ve(job.donor, job.donor.table.inside), compute(job).table.implied_ve, rtol=1e-12)


def test_where_lambda_is_one_it_makes_no_readings_of_its_own() -> None:
    job = valid("reading_settled")
    assert [meaning.applies for meaning in all_meanings(job.donor, own_lambda=False)] == [
        ("pressure", "lambda", "dead time"),
        ("pressure", "lambda"),
        ("lambda", "dead time"),
        ("lambda",),
    ]
    assert len(all_meanings(job.donor, own_lambda=True)) == 8


def test_a_target_with_its_own_lambda_needs_to_know_who_applies_it() -> None:
    message = refusal(base="reading_settled", append="\n[target.tables.fuel]\nlambda = 0.9\n")
    assert message.startswith(
        'job.toml: donor.tables.fuel.ecu_applies: "unknown" cannot be resolved: more than one interpretation of the '
        'cells is plausible: ["pressure", "lambda", "dead time"] implies a VE of '
    )
    assert message.endswith("; say which one is true")


def test_no_plausible_reading() -> None:
    message = refusal(('"900 cc/min"', '"300 cc/min"'), base="reading_settled")
    assert '"unknown" cannot be resolved: no interpretation of the cells is plausible: ' in message


def test_a_ve_table_has_readings_too() -> None:
    """With pressure inside, 42 to 74 % at 30 and 60 kPa would be above 1; without dead time, too little wide open."""
    job = with_lines(("lambda = 1.0", 'ecu_applies = "unknown"\nlambda = 1.0'), ('"280 cc/min"', '"1500 cc/min"'))
    assert job.donor.table.inside == Inside()
