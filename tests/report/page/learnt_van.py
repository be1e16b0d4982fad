"""What the invented van's first drive taught, worked out once."""

from __future__ import annotations

from pathlib import Path

from basemap.cli.demo import FIRST_DRIVE
from basemap.logs.learn import learn
from basemap.logs.log import read_log
from basemap.model.learnt import Learnt
from basemap.model.result import Result
from tests.builders.once import once
from tests.builders.results import adapted
from tests.docs.markdown import ROOT

LOG = ROOT / "basemap" / "cli" / "demo_files" / FIRST_DRIVE
HELD = ("charging-voltage-high", "lean-at-load")


def van() -> Result:
    """The van adapted."""
    return adapted(ROOT / "sample_tables" / "ferry_van.toml")


@once
def first_drive(accept: tuple[str, ...] = (), log: Path = LOG) -> Learnt:
    """What its first drive taught."""
    barometer_pa = van().job.target.hardware.conditions.barometer_pa
    return learn(van(), [read_log(log, {}, barometer_pa=barometer_pa)], accept=accept)


@once
def learnt_before() -> Learnt:
    """The same worked out anew from what the learnt job keeps of it."""
    return learn(van(), [], earlier=first_drive().logs)
