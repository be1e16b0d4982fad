"""Parts that stay in the car: what is uncertain about them enters once, from the job file on."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from basemap.jobfile.load import build_job
from basemap.model.installation import FloatArray
from tests.belief.test_budget import budget_of

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
SPARE = (SAMPLES / "rebored_spare.toml").read_text(encoding="utf-8")

SAME_PARTS = (
    "injector flow",
    "rated pressure",
    "density of the rating fluid",
    "rail pressure",
    "ethanol content",
    "stoichiometric ratio of the petrol",
    "density of the petrol",
    "fuel temperature",
)


def rows_of(text: str) -> dict[str, FloatArray]:
    """Each input's contribution to the band, by name."""
    found = budget_of(build_job(tomllib.loads(text), SAMPLES, "job.toml"))
    return {entry.name: row for entry, row in zip(found.inputs, found.contributions, strict=True)}


@pytest.mark.law
def test_parts_that_the_job_file_calls_the_same_cancel() -> None:
    """What is wrong with an injector or a fuel that stays in the car is wrong on both sides alike."""
    rows = rows_of(SPARE)
    for part in SAME_PARTS:
        assert np.abs(rows.pop(f"{part} of both")).max() < 1e-9, part
    assert [name for name in rows if name.startswith((*SAME_PARTS, "dead time"))] == ["dead time of both"]


@pytest.mark.law
def test_a_shared_dead_time_counts_by_the_difference_of_the_pulses() -> None:
    """Part of the pulse is 1/t_eff of the donor less 1/t_eff of the target, and t_eff goes with the displacement."""
    alone = rows_of(
        SPARE + '\n[target.injectors.dead_time]\nbattery = ["10 V", "14 V"]\ntime = ["1.75 ms", "0.85 ms"]\n'
    )
    both = np.abs(rows_of(SPARE)["dead time of both"])
    assert both == pytest.approx(np.abs(alone["dead time of the donor"]) * (1 - 1998 / 2028), rel=1e-6)


@pytest.mark.law
def test_a_key_that_the_target_gives_itself_is_a_second_statement() -> None:
    names = set(rows_of(SPARE + '\n[target.fuel]\nrail_pressure = "3.0 bar"\n'))
    assert {"rail pressure of the donor", "rail pressure of the target", "fuel temperature of both"} <= names
