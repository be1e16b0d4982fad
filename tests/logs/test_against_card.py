"""The first-start card against a log: when a line was left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.logs.against_card import LogShows, score
from basemap.logs.log import read_log
from basemap.model.card import Card, CardLine, CardPart
from tests.logs.drives import BAROMETER_PA, log_file


# 13.8 V until half a minute after the start, from when the line counts, then 0.4 V a second more: worked out by hand it
# is above 14.8 V after 32.5 s and above 16 V after 35.5 s. It is highest at the end, at 39.9 s.
@pytest.mark.check_value
@pytest.mark.parametrize(("key", "low", "high", "when_s"), [
    ("battery", 13.2, 14.8, 32.5), ("overvoltage", None, 16.0, 35.5),
    ("battery", 13.2, 18.0, 39.9), ("battery", 15.0, 18.0, 30.0),
])  # fmt: skip
def test_when_the_voltage_left_its_limits(
    tmp_path: Path, key: str, low: float | None, high: float, when_s: float
) -> None:
    climbing = 13.8 + 0.4 * np.maximum(np.arange(400) * 0.1 - 30.0, 0.0)
    log = read_log(log_file(tmp_path, **{"battery [V]": climbing}), {}, barometer_pa=BAROMETER_PA)
    unknown = np.full(log.time_s.shape, np.nan)
    read = LogShows(log, unknown, unknown, np.zeros(log.time_s.shape, dtype=bool), unknown, 900.0, 35e3)
    line = CardLine(key, "Battery", "as it should be", low=low, high=high, unit="V")
    card = Card("", "", (), (CardPart("charging", "Charging", (line,)),), ())
    (scored,) = score(card, read)
    assert scored.at_s == pytest.approx(when_s, abs=0.15)
