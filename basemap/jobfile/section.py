"""What every section of the job file may carry."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

from basemap.jobfile import fields as f


class Section(BaseModel):
    """What every section may carry."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)

    notes: f.Text | None = None


class Sourced(Section):
    """A section that may say where its numbers come from."""

    basis: f.SectionBasis | None = None
