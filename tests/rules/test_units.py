"""Findings speak in the unit in which the job has its loads."""

from __future__ import annotations

from pathlib import Path

import pytest

import basemap
from basemap.model.result import Result
from tests.builders.sound import sound_job


def result_in(unit: str, folder: Path, **engine: str) -> Result:
    """The first boosted sound job whose loads are in a unit, with other keys of the target's engine."""
    jobs = (sound_job(seed) for seed in range(400))
    job = next(
        one for one in jobs if "boosted" in one.traits and one.data["donor"]["tables"]["fuel"]["load_unit"] == unit
    )
    job.data["target"]["engine"].update(engine)
    return basemap.check(basemap.load_job(job.write(folder)))


@pytest.mark.parametrize("unit", ["inHg absolute", "psi absolute", "bar absolute"])
def test_no_finding_of_a_job_in_another_unit_says_kpa(unit: str, tmp_path: Path) -> None:
    result = result_in(unit, tmp_path, peak_pressure="340 kPa")
    (stop,) = [one for one in result.stops if one.rule == "load-beyond-donor"]
    assert 'load_cut = "' in stop.remedy
    assert f' {unit}" or lower' in stop.remedy
    for finding in result.findings:
        assert "kPa" not in finding.message + finding.remedy, finding.rule


@pytest.mark.law
@pytest.mark.parametrize("unit", ["inHg absolute", "psi absolute", "bar absolute"])
def test_the_cut_that_is_advised_meets_the_limit_when_it_is_typed(unit: str, tmp_path: Path) -> None:
    refused = result_in(unit, tmp_path, peak_pressure="340 kPa")
    (stop,) = [one for one in refused.stops if one.rule == "load-beyond-donor"]
    cut = stop.remedy.split('load_cut = "')[1].split('"')[0]
    met = result_in(unit, tmp_path, peak_pressure="340 kPa", load_cut=cut)
    assert "load-beyond-donor" not in [one.rule for one in met.stops]
    assert any(cut.split()[1] in limit for limit in met.limits)
