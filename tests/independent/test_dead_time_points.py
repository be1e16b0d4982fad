"""Dead times at the voltages that an ECU asks for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from basemap.adaptation.pipeline import compute
from basemap.model.result import Computed, Setting
from tests.independent.plain_numbers import DeadPoints
from tests.independent.strategies import to_job
from tests.independent.worked import installation_a, problem, ve_cells

DATA = DeadPoints([8.0, 10.0, 12.0, 14.0, 16.0], [[2.60e-3, 1.80e-3, 1.20e-3, 0.85e-3, 0.65e-3]])


def adapted(points_v: list[float], battery: float = 13.0) -> Computed:
    side = replace(installation_a(), dead=DATA)
    job = to_job(problem(installation_a(), side, replace(ve_cells(0.6), battery=battery)))
    return compute(
        replace(job, target=replace(job.target, told=replace(job.target.told, dead_time_points_v=np.array(points_v))))
    )


def dead_time(found: Computed) -> Setting:
    return next(one for one in found.settings if one.name == "dead_time")


@pytest.mark.check_value
def test_times_and_the_error_between_them_by_hand() -> None:
    """At 9 V between 2.60 and 1.80: 2.20; at 13 V 1.025; at 16 V 0.65.

    Between 9 and 13 V the ECU reads straight, falling 0.29375 ms/V: at 10 V 1.90625 where 1.80 is right, at 12 V
    1.31875 where 1.20 is: 0.11875 ms too long. Between 13 and 16 V, 0.125 ms/V: at 14 V 0.9 where 0.85 is right.
    Below 9 V the first line goes on: at 8 V 2.49375, 0.10625 ms too short. The largest is at 12 V.
    """
    found = dead_time(adapted([9.0, 13.0, 16.0]))
    assert found.battery_v == (9.0, 13.0, 16.0)
    assert found.enter == pytest.approx((2.20, 1.025, 0.65), rel=1e-12)
    assert found.basis == (
        "the fitted injectors' own, absolute, at 3 bar, read at the ECU's own voltages; between or beyond them, from "
        "8 to 16 V, it is up to 0.119 ms too long, rich (at 12 V)"
    )


@pytest.mark.check_value
def test_an_error_on_the_lean_side_is_called_so() -> None:
    """Two points, at 10 and 12 V: beyond them 0.3 ms/V, so that at 16 V nothing is left of 0.65 ms, and it is lean."""
    assert dead_time(adapted([10.0, 12.0])).basis.endswith("up to 0.650 ms too short, lean (at 16 V)")


@pytest.mark.law
def test_points_at_those_of_the_data_lose_nothing() -> None:
    found = adapted([8.0, 9.0, 10.0, 12.0, 14.0, 16.0])
    assert dead_time(found).basis.endswith("nothing is lost between them from 8 to 16 V")
    assert_allclose(found.sweep.leanest, 1.0, rtol=1e-9)
    assert_allclose(found.sweep.richest, 1.0, rtol=1e-9)


@pytest.mark.law
def test_what_is_lost_at_the_tables_voltage_is_in_the_cells() -> None:
    """At 12 V the ECU adds 0.11875 ms too much; the cells take it off again, and λ is as intended there."""
    found = adapted([9.0, 13.0, 16.0], battery=12.0)
    assert_allclose(found.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    pulse, gain = found.table.pulse_s, found.table.target
    lost = 60.0 - found.table.new
    assert_allclose(lost, 60.0 * 0.11875e-3 / (pulse - gain.dead_time_s), rtol=1e-9)
    at_14_v = int(np.flatnonzero(found.sweep.battery_v == 14.0)[0])
    assert found.sweep.leanest[at_14_v] > 1.0  # 0.05 ms too long, less the 0.11875 ms that the cells took off
