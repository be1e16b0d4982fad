"""What is compared: steady, warm, fuelled, with the probe reading; and when the probe's reading belongs to what."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from basemap.logs.log import Log
from basemap.logs.probe import Delay, Ends, delay, ends
from basemap.logs.steady import Gate, chunks, fuel_cut, gate
from basemap.model.drive import Chunks, DrivePoints
from basemap.model.installation import FloatArray
from tests.logs.drives import as_read, car, drive, read
from tests.simulator.drive import STEP_S, Drive

VOLTS = (8.0, 16.0)


def gated(log: Log, truth: Drive) -> tuple[Gate, Delay, Ends, FloatArray]:
    """The gate with the true mixture expected, as if nothing were wrong."""
    at = np.round(log.time_s / STEP_S).astype(int)
    expected = np.log(np.where(truth.pulse_s[at] > 0, truth.lambda_true[at], np.nan))
    expected = np.where(expected < 1.0, expected, np.nan)
    late, stand = delay(log, car().target.displacement_m3, fuel_cut(log)), ends(log)
    return gate(log, late, stand, expected, VOLTS), late, stand, expected


def stretches(log: Log, truth: Drive) -> Chunks:
    found, late, _, expected = gated(log, truth)
    assert log.pulse_s is not None
    points = DrivePoints(log.rpm, log.manifold_pa, log.charge_k, log.battery_v, log.pulse_s)
    return chunks(log, late, found, points, expected, np.zeros(log.rpm.shape))


# Source: the simulated gas itself, which no logger sees. The probe is 1 % wrong in scale here, and noisy.
@pytest.mark.check_value
@pytest.mark.parametrize("shape", ["plain", "slow", "fast"])
def test_stretches_read_the_mixture_that_was_there(tmp_path: Path, shape: str) -> None:
    truth, log = drive(), read(tmp_path, shape)
    made = stretches(log, truth)
    assert made.size > 25
    middle = made.at_s + 0.5 * made.for_s
    there = np.log(np.interp(middle, truth.time_s, truth.lambda_true)) + np.log(car().sensors.probe_scale)
    off = made.log_lambda - there
    assert abs(np.median(off)) < 0.004
    assert np.quantile(np.abs(off), 0.95) < 0.03


def test_nothing_is_compared_while_fuel_is_cut_or_the_engine_is_cold() -> None:
    truth, log = drive(), as_read(drive())
    found, *_ = gated(log, truth)
    cut = fuel_cut(log)
    assert cut.any()
    for start in log.time_s[1:][cut[1:] & ~cut[:-1]]:
        assert not found.good[(log.time_s >= start) & (log.time_s <= start + 5.0)].any()
    cold = replace(log, coolant_k=np.full(log.rpm.shape, 320.0))
    assert not gated(cold, truth)[0].good.any()


def test_a_reading_near_the_end_of_the_range_leaves_its_neighbours_out() -> None:
    truth = drive()
    pegged = (truth.time_s > 60.0) & (truth.time_s < 60.6)
    log = as_read(replace(truth, lambda_read=np.where(pegged, 1.36, np.minimum(truth.lambda_read, 1.3))))
    found, late, stand, _ = gated(log, truth)
    assert stand.lean == pytest.approx(1.36)
    wait = float(late.seconds[np.searchsorted(log.time_s, 60.0)])
    around = (log.time_s > 59.2 - wait) & (log.time_s < 61.4 - wait)
    assert not found.good[around].any()


def test_a_channel_that_is_stuck_is_left_out() -> None:
    truth = drive()
    stuck = (truth.time_s > 80.0) & (truth.time_s < 110.0)
    log = as_read(replace(truth, lambda_read=np.where(stuck, 1.01, truth.lambda_read)))
    found, *_ = gated(log, truth)
    assert "channel stuck" in found.reasons
    moving = found.reasons["channel stuck"]
    assert moving.any()
    assert not moving[(log.time_s < 74.0) | (log.time_s > 116.0)].any()


def test_dropouts_are_left_out_and_counted() -> None:
    truth = drive()
    log = as_read(drive())
    gone = (log.time_s > 100.0) & (log.time_s < 104.0)
    holed = replace(log, manifold_pa=np.where(gone, np.nan, log.manifold_pa))
    found, *_ = gated(holed, truth)
    assert found.reasons["channel missing"].sum() == gone.sum()


# Source: the delay that the simulator gives its probe: 0.1 s, two revolutions, 1.2 l over the flow at the charge's
# density, and a first-order lag. Half way in the fuel comes ln 2 of the lag later.
@pytest.mark.check_value
def test_the_delay_is_found_from_the_fuel_cuts() -> None:
    log = as_read(drive())
    late = delay(log, car().target.displacement_m3, fuel_cut(log))
    assert late.found_s is not None
    at = int(np.argmin(np.abs(log.rpm - 2500.0) + (log.manifold_pa < 30e3) * 1e6))
    flow = log.rpm[at] / 120.0 * car().target.displacement_m3 * log.manifold_pa[at] / 1e5
    true = 0.1 + 120.0 / log.rpm[at] + 1.2e-3 / flow + 0.7 * car().sensors.probe_lag_s
    assert late.seconds[at] == pytest.approx(true, abs=0.15)


@pytest.mark.law
def test_chunks_come_back_from_their_rows() -> None:
    made = stretches(as_read(drive()), drive())
    assert np.array_equal(Chunks.of_rows(made.rows()).rows(), made.rows())
