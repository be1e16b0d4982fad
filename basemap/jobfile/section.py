"""The keys that every section of the job file may have, and how a union chooses among its branches."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Discriminator

from basemap.jobfile import fields as f


class Section(BaseModel):
    """The keys that every section may have."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)

    notes: f.Text | None = None

    @classmethod
    def left_out(cls) -> Self:
        """An empty section for a job that leaves it out; no validator is built, because there is nothing to check."""
        return cls.model_construct()


class Sourced(Section):
    """A section that may say where its numbers come from."""

    basis: f.SectionBasis | None = None


def tagged(*branches: tuple[str, Callable[[Any], bool]], other: str) -> Discriminator:
    """Choose among the branches of a union by the first test that a value passes."""

    def choose(value: Any) -> str:
        return next((tag for tag, test in branches if test(value)), other)

    return Discriminator(choose)
