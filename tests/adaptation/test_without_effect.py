"""Settings that are stated and do nothing are said to do nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.adaptation.pipeline import compute
from basemap.jobfile.load import load_job
from basemap.model.finding import Severity
from tests.builders.cases import each
from tests.builders.computed import found
from tests.builders.files import valid, with_lines
from tests.samples.make_samples import SAMPLES

VE_PAGE = (
    '\n[donor.settings]\ndisplacement = "1990 cc"\nstatic_flow = "275 cc/min"\nstoichiometric = 14.7\n'
    "openings_per_cycle = 1\n"
)


@pytest.mark.law
@each(
    "own",
    [
        "",
        "\n[target.settings]\nstoichiometric = 14.7\n",
        '\n[target.settings]\ncannot_be_told = ["stoichiometric", "static_flow", "displacement", "dead_time"]\n',
    ],
)
def test_what_a_ve_table_is_worked_out_with_has_an_effect(own: str) -> None:
    assert compute(with_lines(append=VE_PAGE + own)).without_effect == ()


@pytest.mark.law
@pytest.mark.parametrize("key", ["stoichiometric = 14.7", 'displacement = "1600 cc"', 'static_flow = "300 cc/min"'])
def test_a_table_of_pulses_is_worked_out_with_none_of_them(key: str, tmp_path: Path) -> None:
    text = (SAMPLES / "orchard_pickup.toml").read_text(encoding="utf-8")
    (tmp_path / "orchard_pickup_fuel.csv").write_bytes((SAMPLES / "orchard_pickup_fuel.csv").read_bytes())
    (tmp_path / "job.toml").write_text(f"{text}\n[target.settings]\n{key}\n", encoding="utf-8")
    computed = compute(load_job(tmp_path / "job.toml"))
    name = f"target.settings.{key.partition(' ')[0]}"
    assert computed.without_effect == (name,)
    (note,) = found(computed, "without-effect")
    assert note.severity is Severity.NOTE
    assert note.message == f"{name} does nothing in this job: no number of the result depends on it."


@pytest.mark.law
def test_a_page_that_is_taken_for_the_hardware_has_an_effect() -> None:
    assert compute(valid("settings_only")).without_effect == ()
