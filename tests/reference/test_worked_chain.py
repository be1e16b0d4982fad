"""Two engines worked by hand from air to pulse, step by step.

They catch a wrong unit, a wrong factor or a wrong order; whether the equations are right is for the other modules of
this folder. Both are invented. Agreement 1e-9 throughout, for every input is given to its last digit.
"""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from basemap.physics import air, injector
from tests.builders.cases import each

N_HEPTANE = 683.81407
RATED_PRESSURE = 3e5


@dataclass(frozen=True)
class Chain:
    """Inputs, and the steps worked from them, SI."""

    displacement: float
    density: float
    ratio: float
    rated_flow: float
    rail_pressure: float
    volume: float
    air: float
    fuel: float
    flow: float
    flow_cc_min: float
    open_ms: float
    pulse_ms: float
    duty_at_6000: float


# 1998 cc, four cylinders, 85 % at 100 kPa and 40 °C, λ 1, petrol, 280 cc/min at 3 bar, 0.85 ms, sequential.
A = Chain(
    displacement=1998e-6,
    density=745.0,
    ratio=14.6,
    rated_flow=280e-6 / 60.0,
    rail_pressure=3e5,
    volume=4.995e-4,
    air=4.723241034375279e-4,
    fuel=3.235096598887177e-5,
    flow=3.330841243446533e-3,
    flow_cc_min=268.2556706131436,
    open_ms=9.712551161819152,
    pulse_ms=10.562551161819152,
    duty_at_6000=0.5281275581,
)
# 2393 cc, four cylinders, the same filling, E85, 650 cc/min at 3 bar on a rail of 3.5 bar.
B = Chain(
    displacement=2393e-6,
    density=786.384732,
    ratio=9.795793680,
    rated_flow=650e-6 / 60.0,
    rail_pressure=3.5e5,
    volume=5.9825e-4,
    air=5.657014912542563e-4,
    fuel=5.774942896078498e-5,
    flow=8.580686869243341e-3,
    flow_cc_min=654.6938047044897,
    open_ms=6.730163894895447,
    pulse_ms=7.580163894895447,
    duty_at_6000=0.3790081947,
)

DEAD_TIME = 0.85e-3


def flow_of(chain: Chain, pressure_across_pa: float) -> float:
    rated = chain.rated_flow * N_HEPTANE
    return float(injector.mass_flow(rated, RATED_PRESSURE, N_HEPTANE, pressure_across_pa, chain.density))


@pytest.mark.check_value
@pytest.mark.parametrize("chain", [A, B], ids=["A", "B"])
def test_air_drawn(chain: Chain) -> None:
    assert chain.displacement / 4 == pytest.approx(chain.volume, rel=1e-12)
    assert 0.85 * float(air.density(100e3, 313.15)) * chain.volume == pytest.approx(chain.air, rel=1e-9)


@pytest.mark.check_value
@pytest.mark.parametrize("chain", [A, B], ids=["A", "B"])
def test_flow_of_the_injector(chain: Chain) -> None:
    across = float(injector.pressure_across(chain.rail_pressure, 100e3, 101_325.0, fixed=False))
    flow = flow_of(chain, across)
    assert flow == pytest.approx(chain.flow, rel=1e-9)
    assert flow / chain.density * 60e6 == pytest.approx(chain.flow_cc_min, rel=1e-9)


@pytest.mark.check_value
@pytest.mark.parametrize("chain", [A, B], ids=["A", "B"])
def test_pulse(chain: Chain) -> None:
    fuel = chain.air / chain.ratio
    pulse = float(injector.pulse_for(fuel, DEAD_TIME, chain.flow))
    assert fuel == pytest.approx(chain.fuel, rel=1e-9)
    assert 1e3 * (pulse - DEAD_TIME) == pytest.approx(chain.open_ms, rel=1e-9)
    assert 1e3 * pulse == pytest.approx(chain.pulse_ms, rel=1e-9)
    assert pulse / (120.0 / 6000.0) == pytest.approx(chain.duty_at_6000, rel=1e-9)


@pytest.mark.check_value
@pytest.mark.parametrize("chain", [A, B], ids=["A", "B"])
def test_the_pulse_delivers_the_fuel(chain: Chain) -> None:
    delivered = injector.delivered(chain.pulse_ms * 1e-3, DEAD_TIME, chain.flow, chain.flow, 120.0 / 6000.0)
    assert float(delivered) == pytest.approx(chain.fuel, rel=1e-9)


# A as a two-stroke at 6000 rev/min: a cycle of 10 ms, duty 1.056. It never closes, and passes 10 ms of flow.
@pytest.mark.check_value
def test_a_two_stroke_runs_out_of_time() -> None:
    window = 60.0 / 6000.0
    assert A.pulse_ms * 1e-3 / window == pytest.approx(1.056255116, rel=1e-9)
    delivered = float(injector.delivered(A.pulse_ms * 1e-3, DEAD_TIME, A.flow, A.flow, window))
    assert delivered / A.fuel == pytest.approx(10.0 / A.open_ms, rel=1e-9)


# A with two openings in a cycle: half the fuel each, the whole dead time each.
@pytest.mark.check_value
def test_two_openings_cost_a_second_dead_time() -> None:
    pulse = float(injector.pulse_for(A.fuel / 2, DEAD_TIME, A.flow))
    assert 1e3 * pulse == pytest.approx(5.706275581, rel=1e-9)
    assert pulse / (0.5 * 120.0 / 6000.0) == pytest.approx(0.570627558, rel=1e-9)


# A at λ 0.88.
@pytest.mark.check_value
def test_a_rich_pulse() -> None:
    pulse = float(injector.pulse_for(A.fuel / 0.88, DEAD_TIME, A.flow))
    assert 1e3 * pulse == pytest.approx(11.886989957, rel=1e-9)
    assert pulse / (120.0 / 7000.0) == pytest.approx(0.693407747, rel=1e-9)


# A at 60 % and 30 kPa: the time open with a regulator referenced to the manifold, and with a fixed one (barometer
# 101.325 kPa), which passes 1.1125 times as much.
@pytest.mark.check_value
@each(("fixed", "open_ms", "factor"), [(False, 2.056775540, 1.0), (True, 1.848716985, 1.112542134)])
def test_part_load_with_either_regulator(fixed: bool, open_ms: float, factor: float) -> None:
    flow = flow_of(A, float(injector.pressure_across(3e5, 30e3, 101_325.0, fixed)))
    fuel = 0.60 * float(air.density(30e3, 313.15)) * A.volume / A.ratio
    assert flow / A.flow == pytest.approx(factor, rel=1e-9)
    assert 1e3 * float(injector.pulse_for(fuel, 0.0, flow)) == pytest.approx(open_ms, rel=1e-9)


# What an ECU that does not know of a fixed rail misses between 30 and 100 kPa.
@pytest.mark.check_value
def test_flow_of_a_fixed_rail_over_load() -> None:
    low, high = (flow_of(A, float(injector.pressure_across(3e5, p, 101_325.0, fixed=True))) for p in (30e3, 100e3))
    assert low / high == pytest.approx(1.110093378677, rel=1e-9)
