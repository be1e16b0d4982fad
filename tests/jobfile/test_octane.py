"""Octane as a European and as an American pump show it."""

from __future__ import annotations

import pytest

from basemap.adaptation.pipeline import adapt
from basemap.model.job import Job
from tests.builders.files import refusal, with_lines

DONOR, TARGET = "[donor.fuel]\n", "[target.fuel]\n"


def job(donor: str, target: str) -> Job:
    return with_lines((DONOR, f"{DONOR}octane = {donor}\n"), (TARGET, f"{TARGET}octane = {target}\n"))


# EN 228, petrol: at least RON 95 with MON 85, of which (R+M)/2 is 90; super plus, RON 98 with MON 88: 93.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("written", "ron"), [("95", 95.0), ('"95 RON"', 95.0), ('"90 AKI"', 95.0), ('"93 (R+M)/2"', 98.0)]
)
def test_what_an_american_pump_shows_is_lower_than_ron(written: str, ron: float) -> None:
    assert job(written, "95").donor.hardware.fuel.octane == ron


@pytest.mark.law
@pytest.mark.parametrize(
    ("donor", "target", "said"),
    [
        # Read as RON, 93 would be less than 95, and the lower octane of the target would not be said.
        ('"93 AKI"', "95", "its fuel has RON 95 instead of 98 or so (AKI 93)"),
        ('"93 AKI"', '"91 AKI"', "its fuel has AKI 91 instead of 93"),
        ("98", '"91 AKI"', "its fuel has RON 96 or so (AKI 91) instead of 98"),
        ("95", '"91 AKI"', ""), ('"87 AKI"', '"87 AKI"', ""), ('"87 AKI"', "95", ""),
    ],
)  # fmt: skip
def test_the_two_are_compared_as_the_same_thing(donor: str, target: str, said: str) -> None:
    found = [one.message for one in adapt(job(donor, target)).findings if one.rule == "ignition"]
    assert (said in " ".join(found)) if said else not any("its fuel has" in one for one in found)


@pytest.mark.parametrize("written", ["88 MON", "premium"])
def test_another_octane_is_refused(written: str) -> None:
    assert refusal((DONOR, f'{DONOR}octane = "{written}"\n')) == (
        f'job.toml: donor.fuel.octane: "{written}" is no octane: write RON, such as 95, or what an American pump '
        'shows, such as "91 AKI"'
    )
