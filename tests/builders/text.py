"""What the builders of jobs from text share."""

from __future__ import annotations

import tomllib
from pathlib import Path

from basemap.jobfile.load import build_job
from basemap.model.job import Job
from tests.jobs import edited

FILE = "job.toml"


def built(folder: Path, text: str, *pairs: tuple[str, str], append: str = "", **tables: str) -> Job:
    """The job of a text with each first of a pair replaced, once, by the second; its tables by name without .csv."""
    for name, content in tables.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    return build_job(tomllib.loads(edited(text, *pairs) + append), folder, FILE)
