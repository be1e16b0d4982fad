"""Jobs for these tests: the folders of whole files, and one job with some of its lines replaced."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from basemap.errors import InputError
from basemap.jobfile.load import build_job, load_job
from basemap.model.job import Assumption, Job
from tests.jobs import edited

JOBS = Path(__file__).resolve().parents[1] / "jobs"
VALID, INVALID = JOBS / "valid", JOBS / "invalid"
FILE = "job.toml"


def valid(name: str) -> Job:
    """One of the jobs in the folder of valid ones."""
    return load_job(VALID / f"{name}.toml")


def with_lines(*changes: tuple[str, str], append: str = "", base: str = "ve_job") -> Job:
    """A valid job with its text `edited`."""
    text = (VALID / f"{base}.toml").read_text(encoding="utf-8")
    return build_job(tomllib.loads(edited(text, *changes) + append), VALID, FILE)


def refusal(*changes: tuple[str, str], append: str = "", base: str = "ve_job") -> str:
    """The message that refuses such a job."""
    with pytest.raises(InputError) as caught:
        with_lines(*changes, append=append, base=base)
    return str(caught.value)


def assumed(job: Job) -> dict[str, Assumption]:
    """Assumptions by key; none may be listed twice."""
    keys = [assumption.key for assumption in job.assumed]
    assert len(keys) == len(set(keys)), keys
    return {assumption.key: assumption for assumption in job.assumed}
