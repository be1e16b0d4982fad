"""What a measurement is said to leave of the band is what it leaves once it has been made."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

import basemap
from basemap.model.band import Band
from tests.samples.make_samples import SAMPLES

DEAD_TIME = re.compile(r"\n\[target\.injectors\.dead_time\]\n.*\n.*\n")
STAND_IN_MS = (2.1, 1.7, 1.3, 0.9, 0.5)
"""What stands in for an unknown dead time: 0.9 ms at 14 V, falling by 0.2 ms/V. Common practice, no source."""


def band_of(folder: Path, dead_time: str) -> Band:
    """The van's, whose worst cell is one of short pulses, with another dead time of its injectors."""
    for grid in SAMPLES.glob("ferry_van_*.csv"):
        shutil.copy(grid, folder)
    text, count = DEAD_TIME.subn("\n" + dead_time, (SAMPLES / "ferry_van.toml").read_text(encoding="utf-8"))
    assert count == 1
    (folder / "van.toml").write_text(text, encoding="utf-8")
    return basemap.check(basemap.load_job(folder / "van.toml")).band


@pytest.mark.law
def test_a_drawn_band_falls_to_what_it_is_once_measured(tmp_path: Path) -> None:
    unknown = band_of(tmp_path, 'dead_time = "unknown"\n')
    assert unknown.worst_cell is not None
    assert unknown.simulated[unknown.worst_cell]
    first = unknown.shares[0]
    assert first.name == "dead time of the target"
    assert first.measured_to == pytest.approx(0.02 / 3**0.5)
    times = ", ".join(f'"{time} ms ± 0.02 ms"' for time in STAND_IN_MS)
    measured = band_of(
        tmp_path,
        f'\n[target.injectors.dead_time]\nbattery = ["8 V", "10 V", "12 V", "14 V", "16 V"]\ntime = [{times}]\n',
    )
    # Both by draws, or nearly: the longer side of ln λ.
    assert first.worst_after == pytest.approx(measured.adapted[unknown.worst_cell], rel=0.08)
    assert unknown.first["idle"] == first.name
    assert "Idle (±36.7 %): measure the dead time of the target first" in unknown.advice
