"""Building a job from its text and tables, shared by several builders."""

from __future__ import annotations

import tomllib
from pathlib import Path

from basemap.jobfile.load import build_job
from basemap.model.job import Job
from tests.jobs import edited

FILE = "job.toml"


def built(folder: Path, text: str, *changes: tuple[str, str], append: str = "", **tables: str) -> Job:
    """The job of a text, `edited`; its tables by name without .csv."""
    for name, content in tables.items():
        (folder / f"{name}.csv").write_text(content, encoding="utf-8")
    return build_job(tomllib.loads(edited(text, *changes) + append), folder, FILE)
