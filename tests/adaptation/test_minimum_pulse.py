"""An ECU that commands no pulse below a minimum, on either side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.model.finding import Severity
from basemap.model.marks import Mark
from tests.builders.with_settings import adapted

DONOR = '\n[donor.settings]\nminimum_pulse = "4 ms"\n'
TARGET = '\n[target.settings]\nminimum_pulse = "4 ms"\n'
"""On the target half the pulses: its injectors pass twice the donor's, for 1.2 times the displacement."""


@pytest.mark.check_value
def test_a_target_that_commands_at_least_so_much(tmp_path: Path) -> None:
    free, held = adapted(tmp_path), adapted(tmp_path, TARGET)
    short = free.table.pulse_s < 4e-3
    assert short.any()
    assert not short.all()
    # The cells are those that the engine needs; the ECU opens for 4 ms instead: λ goes as the times open, 0.885 ms of
    # each pulse being dead time.
    np.testing.assert_array_equal(held.table.new, free.table.new)
    np.testing.assert_array_equal(held.table.pulse_s, np.where(short, 4e-3, free.table.pulse_s))
    needed = free.table.pulse_s - 0.885e-3
    by_hand = np.where(short, needed / (4e-3 - 0.885e-3), 1.0)
    np.testing.assert_allclose(held.table.lambda_ratio["new_table_new_settings"], by_hand, rtol=1e-9)
    np.testing.assert_array_equal(held.table.marks[Mark.MINIMUM_PULSE], short)
    found = [one for one in held.findings if one.rule == "minimum-pulse"]
    assert [one.severity for one in found] == [Severity.CAUTION]
    assert found[0].value == pytest.approx(by_hand.min(), rel=1e-9)
    assert not [one for one in free.findings if one.rule == "minimum-pulse"]


@pytest.mark.check_value
def test_a_donor_whose_minimum_is_what_it_was_tuned_with(tmp_path: Path) -> None:
    # Its own minimum of 0.1 ms does nothing to the target. By hand: a cell of the donor whose pulse is below 4 ms
    # delivered 4 ms, so that is its air: its new cell gives the target as much.
    own = '\n[target.settings]\nminimum_pulse = "0.1 ms"\n'
    rows = "load,1000,3000\n40,5,60\n100,80,90\n"
    free, held = adapted(tmp_path, rows=rows), adapted(tmp_path, DONOR, own, rows=rows)
    pulse = free.table.donor.pulse_s
    short = pulse < 4e-3
    assert short.tolist() == [[True, True], [False, False]]
    np.testing.assert_allclose(held.table.new[~short], free.table.new[~short], rtol=1e-12)
    more = (4e-3 - 0.885e-3) / (pulse[0] - 0.885e-3)
    np.testing.assert_allclose(held.table.new[0], free.table.new[0] * more, rtol=1e-9)
    np.testing.assert_array_equal(held.table.donor.pulse_s[0], 4e-3)


@pytest.mark.check_value
@pytest.mark.parametrize(("minimum", "stopped"), [("3.29 ms", False), ("3.30 ms", True)])
def test_a_minimum_that_drowns_the_idle_is_a_stop(minimum: str, stopped: bool, tmp_path: Path) -> None:
    """By hand: the cell nearest to idle opens for 2.4506 ms, of which 0.885 ms are dead time. λ is 0.65 of the intended
    where 1.5656/0.65 = 2.4086 ms deliver: a minimum of 3.2936 ms. The limit: misfire, common practice, no source."""
    result = adapted(tmp_path, f'\n[target.settings]\nminimum_pulse = "{minimum}"\n')
    assert adapted(tmp_path).table.pulse_s[0, 0] == pytest.approx(2.4506e-3, abs=5e-8)
    stops = [one for one in result.findings if one.severity is Severity.STOP]
    assert [one.rule for one in stops] == (["will-not-run"] if stopped else [])
    if stopped:
        assert stops[0].value == pytest.approx(1.5656 / (3.30 - 0.885), abs=5e-5)


@pytest.mark.law
def test_the_target_behaves_as_the_donor_unless_it_says_otherwise(tmp_path: Path) -> None:
    inherited = adapted(tmp_path, DONOR)
    assert inherited.job.target.told.minimum_pulse_s == 4e-3
    assert Mark.MINIMUM_PULSE in inherited.table.marks
    # Donor = target changes nothing, below the minimum too: its mixture was the intended one there.
    same = (('displacement = "2400 cc"', 'displacement = "2000 cc"'), ('static_flow = "560', 'static_flow = "280'))
    rows = "load,1000,3000\n40,5,60\n100,80,90\n"
    alike = adapted(tmp_path, DONOR, replaced=same, rows=rows)
    np.testing.assert_allclose(alike.table.pulse_s, alike.table.donor.pulse_s, rtol=1e-12)
    np.testing.assert_allclose(alike.table.lambda_ratio["old_table_old_settings"], 1.0, rtol=1e-9)


@pytest.mark.law
def test_a_cell_of_zero_stays_no_pulse(tmp_path: Path) -> None:
    result = adapted(tmp_path, DONOR, rows="load,1000,3000\n40,0,60\n100,80,90\n")
    assert result.table.donor.pulse_s[0, 0] == pytest.approx(0.885e-3, rel=1e-12)
    assert result.table.marks[Mark.DONOR_NO_FUEL][0, 0]


def test_the_worked_cell_shows_both_pulses(tmp_path: Path) -> None:
    result = adapted(tmp_path, TARGET)
    row, column = (int(index) for index in np.argwhere(result.table.marks[Mark.MINIMUM_PULSE])[0])
    steps = {step.symbol: step for step in worked_cell(result, row, column)}
    assert steps["t_min"].value == 4.0
    assert steps["t"].value < 4.0


@pytest.mark.parametrize("bad", ['"-1 ms"', '"4 kPa"', "4", '"2 s"'])
@pytest.mark.parametrize("side", ["donor", "target"])
def test_a_minimum_that_cannot_be(side: str, bad: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=rf"{side}\.settings\.minimum_pulse: "):
        adapted(tmp_path, f"\n[{side}.settings]\nminimum_pulse = {bad}\n")
