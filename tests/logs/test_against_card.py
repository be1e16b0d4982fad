"""The first-start card against a log: when a line was left."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.logs.against_card import LogShows, Seen, score
from basemap.logs.log import Log, read_log
from basemap.model.card import Card, CardLine, CardPart
from basemap.model.learnt import Scored
from tests.builders.cases import each
from tests.logs.drives import BAROMETER_PA, log_file


def shows(log: Log) -> LogShows:
    unknown = np.full(log.time_s.shape, np.nan)
    return LogShows(log, unknown, unknown, np.zeros(log.time_s.shape, dtype=bool), unknown, 900.0, 35e3)


def one_line(part: str, line: CardLine, read: LogShows) -> Scored:
    (scored,) = score(Card("", "", (), (CardPart(part, part, (line,)),), ()), read)
    return scored


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
    line = CardLine(key, "Battery", "as it should be", low=low, high=high, unit="V")
    assert one_line("charging", line, shows(log)).at_s == pytest.approx(when_s, abs=0.15)


@pytest.mark.law
@pytest.mark.parametrize(
    ("coolant_c", "seen", "within"), [(20.0, "0.0 K", True), (26.0, "6.0 K", False), (65.0, "not in the log", None)]
)
def test_a_warm_start_says_nothing_of_sensors_that_agree_when_cold(
    tmp_path: Path, coolant_c: float, seen: str, within: bool | None
) -> None:
    rpm = np.where(np.arange(400) < 30, 0.0, 2000.0)
    columns = {
        "engine speed [rpm]": rpm,
        "coolant [degC]": np.full(400, coolant_c),
        "intake air [degC]": np.full(400, 20.0),
    }
    log = read_log(log_file(tmp_path, **columns), {}, barometer_pa=BAROMETER_PA)
    line = CardLine("cold_soaked", "ECT = IAT", "± 3 K", low=-3.0, high=3.0, unit="K")
    scored = one_line("key_on", line, shows(log))
    assert (scored.seen, scored.within) == (seen, within)


@pytest.mark.law
@each(
    ("seen", "words"),
    [
        (Seen(13.84, "V", 0.0, highest=16.04, danger="low"), "13.8 to 16.1 V"),
        (Seen(7.96, "V", 0.0, danger="low"), "7.9 V"),
        (Seen(1.301, "", 0.0, 2, danger="high"), "1.31"),
        (Seen(16.900000000000002, "V", 0.0, danger="high"), "16.9 V"),
        (Seen(2.494, "ms", 0.0, 2), "2.49 ms"),
    ],
)
def test_what_crossed_a_limit_is_not_shown_on_it(seen: Seen, words: str) -> None:
    """16.04 V is above 16 V, 7.96 V below 8 V, and λ 1.301 above 1.3: none is shown as the limit itself."""
    assert seen.words == words
