"""Carry a fuel table from one engine to another and check it before it touches the engine.

>>> import basemap
>>> basemap.__version__
'0.1.0'

The three functions a program needs are loaded when they are first asked for, so that importing this package costs
next to nothing: `load_job` reads a job file, `check` judges its map, `adapt` carries it over.

>>> basemap.adapt.__module__, basemap.check.__module__, basemap.load_job.__module__
('basemap.adaptation.pipeline', 'basemap.adaptation.pipeline', 'basemap.jobfile.load')
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from basemap.adaptation.pipeline import adapt as adapt
    from basemap.adaptation.pipeline import check as check
    from basemap.jobfile.load import load_job as load_job

__version__ = "0.1.0"

__all__ = ["__version__", "adapt", "check", "load_job"]

_WHERE = {
    "load_job": "basemap.jobfile.load",
    "check": "basemap.adaptation.pipeline",
    "adapt": "basemap.adaptation.pipeline",
}


def __getattr__(name: str) -> object:
    """Load a public function when it is first asked for (PEP 562)."""
    if name not in _WHERE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
