"""The intended mixture: a number, a file, a scale."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.errors import InputError
from tests.builders.files import assumed, refusal, valid, with_lines

LINE = "lambda = 1.0"


@pytest.mark.parametrize("value", ["0.9", '"0.9"', '"0.9 ± 0.02"', '"0.9 +/- 2 %"'])
def test_a_number(value: str) -> None:
    job = with_lines((LINE, f"lambda = {value}"))
    np.testing.assert_array_equal(job.donor.table.intended_lambda, np.full((4, 4), 0.9))
    assert job.inputs["donor.tables.fuel.lambda"].value == 0.9


def test_its_spread_is_an_input() -> None:
    job = with_lines((LINE, 'lambda = "0.9 ± 0.02"'))
    assert job.inputs["donor.tables.fuel.lambda"].half_width == pytest.approx(0.02)


def test_unknown() -> None:
    job = valid("unknowns")
    np.testing.assert_array_equal(job.donor.table.intended_lambda, np.full((4, 4), 0.95))
    assert job.inputs["donor.tables.fuel.lambda"].half_width == pytest.approx(0.10)
    listed = assumed(job)["donor.tables.fuel.lambda"]
    assert (listed.value, listed.half_width, listed.unknown) == ("0.95", "0.10", True)


def test_a_file_whose_name_begins_with_a_digit_is_a_file() -> None:
    with pytest.raises(InputError) as caught:
        with_lines((LINE, 'lambda = "1.csv"'))
    assert "there is no file" in str(caught.value)


@pytest.mark.parametrize("value", ["0.5", "1.5"])
def test_the_ends_of_the_range_are_in_it(value: str) -> None:
    assert with_lines((LINE, f"lambda = {value}")).donor.table.intended_lambda[0, 0] == float(value)


def test_an_air_fuel_scale_that_means_the_fuel_in_use() -> None:
    """afr.csv holds 14.5 and 13.05 …; E5's own ratio is what lambda 1 means on it."""
    job = with_lines((LINE, 'lambda = { file = "afr.csv", quantity = "air/fuel ratio", basis = "fuel in use" }'))
    np.testing.assert_allclose(
        job.donor.table.intended_lambda[0], 14.5 / job.donor.hardware.fuel.stoichiometric, rtol=1e-12
    )


def test_the_targets_scale_means_the_targets_fuel() -> None:
    job = with_lines(
        ('blend = "E85"', 'blend = "E10"'),
        append="\n[target.tables.fuel]\n"
        'lambda = { file = "afr.csv", quantity = "air/fuel ratio", basis = "fuel in use" }\n',
    )
    np.testing.assert_allclose(
        job.target.table.intended_lambda[0], 14.5 / job.target.hardware.fuel.stoichiometric, rtol=1e-12
    )
    np.testing.assert_array_equal(job.donor.table.intended_lambda, np.ones((4, 4)))


def test_a_section_may_hold_lambda_itself() -> None:
    in_a_section = with_lines(('"lambda_vacuum.csv"', '{ file = "lambda_vacuum.csv" }'), base="pulse_width_vacuum")
    wanted = valid("pulse_width_vacuum").donor.table.intended_lambda
    np.testing.assert_array_equal(in_a_section.donor.table.intended_lambda, wanted)


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("0.49", '"0.49" is outside the plausible range 0.5 to 1.5 of an intended lambda'),
        ("true", "must be a number such as 14.6"),
        ("[1, 2]", "must be text in quotes"),
    ],
)
def test_refusals(value: str, message: str) -> None:
    assert refusal((LINE, f"lambda = {value}")) == f"job.toml: donor.tables.fuel.lambda: {message}"


def test_a_section_without_its_file() -> None:
    assert refusal((LINE, 'lambda = { quantity = "lambda" }')) == (
        'job.toml: donor.tables.fuel.lambda.file: missing: name the file of the intended mixture, such as "lambda.csv"'
    )


def test_a_scale_that_gives_no_lambda() -> None:
    assert refusal((LINE, 'lambda = { file = "afr.csv", quantity = "air/fuel ratio", basis = 7.0 }')) == (
        "afr.csv: 30 kPa, 1000 rpm: holds 14.5, a lambda of 2.071, outside the plausible range 0.5 to 1.5: "
        "is the scale's "
        "basis right?"
    )
