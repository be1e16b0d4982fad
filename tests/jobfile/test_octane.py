"""Octane as a European and as an American pump show it."""

from __future__ import annotations

import pytest

from basemap.adaptation.pipeline import adapt
from basemap.model.job import Job
from tests.builders.cases import each
from tests.builders.files import refusal, with_lines

DONOR, TARGET = "[donor.fuel]\n", "[target.fuel]\n"


def job(donor: str, target: str, blend: str = "petrol") -> Job:
    octanes = (DONOR, f"{DONOR}octane = {donor}\n"), (TARGET, f"{TARGET}octane = {target}\n")
    return with_lines(*octanes, ('blend = "E85"', f'blend = "{blend}"'))


# EN 228, petrol: at least RON 95 with MON 85, of which (R+M)/2 is 90; super plus, RON 98 with MON 88: 93.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("written", "ron"), [("95", 95.0), ('"95 RON"', 95.0), ('"90 AKI"', 95.0), ('"93 (R+M)/2"', 98.0)]
)
def test_what_an_american_pump_shows_is_lower_than_ron(written: str, ron: float) -> None:
    assert job(written, "95").donor.hardware.fuel.octane == ron


# EN 15293, E85: at least RON 104 with MON 88, of which (R+M)/2 is 96 (from memory). Ours comes within 0.4.
# Heywood, table D.4, pure: ethanol RON 107, MON 89; methanol RON 106, MON 92 (from memory), which is exact.
@pytest.mark.check_value
@pytest.mark.parametrize(
    ("written", "blend", "ron", "within"),
    [(96, "E85", 104.0, 0.4), (98, "E100", 107.0, 1e-9), (99, "M100", 106.0, 1e-9), (90, "E10", 95.0, 1e-9)],
)
def test_alcohol_has_a_higher_ron_over_what_the_pump_shows(
    written: float, blend: str, ron: float, within: float
) -> None:
    """Read as petrol, E85 of AKI 96 is RON 101: less of a loss to a petrol of RON 100 than it is."""
    found = job("95", f'"{written} AKI"', blend)
    assert found.target.hardware.fuel.octane == pytest.approx(ron, abs=within)
    assert found.target.hardware.fuel.antiknock_index == written


@pytest.mark.law
@each(
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


@pytest.mark.law
def test_petrol_and_alcohol_are_compared_by_ron() -> None:
    """7 AKI less is 4 RON less where the one is petrol and the other E85: 103 against 91 + 8.3."""
    found = [one.message for one in adapt(job('"98 AKI"', '"91 AKI"', "E85")).findings if one.rule == "ignition"]
    assert "its fuel has RON 99 or so (AKI 91) instead of 103 or so (AKI 98)" in " ".join(found)


@pytest.mark.parametrize("written", ["88 MON", "premium"])
def test_another_octane_is_refused(written: str) -> None:
    assert refusal((DONOR, f'{DONOR}octane = "{written}"\n')) == (
        f'job.toml: donor.fuel.octane: "{written}" is no octane: write RON, such as 95, or what an American pump '
        'shows, such as "91 AKI"'
    )
