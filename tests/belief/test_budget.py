import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.belief.bands import bands, bands_at
from basemap.belief.budget import Budget, budget, slopes
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.monte_carlo import simulate
from basemap.belief.spreads import EFFICIENCY
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import Forward
from basemap.model.installation import DonorState, FloatArray
from basemap.model.job import Input, Job
from basemap.model.likeness import Likeness
from tests.belief.independent import arithmetic_of_uncertain_numbers, cells_of, lambda_ratio, truth
from tests.builders.computed import make_job, with_donor, with_donor_side, with_target
from tests.independent.plain_numbers import Problem
from tests.independent.strategies import seeded_bent_line_problems, seeded_problems, to_job
from tests.independent.worked import installation_a, installation_b, problem, pulse_cells, ve_cells

SEED = 417


def job_a_to_b(*, pulse_width: bool) -> Job:
    """The worked chains: A's table on B."""
    return to_job(problem(installation_a(), installation_b(), pulse_cells(10.56) if pulse_width else ve_cells(0.85)))


def budget_of(job: Job) -> Budget:
    forward = Forward.of(job)
    return budget(job, forward, forward.new(compute(job).table.new * job.target.shown.per_unit))


@pytest.mark.check_value
@pytest.mark.parametrize("batch", range(5))
@pytest.mark.parametrize("draw", [seeded_problems, seeded_bent_line_problems])
def test_first_order_is_what_the_uncertainties_package_finds(
    batch: int, draw: Callable[[int, int], list[Problem]]
) -> None:
    """`uncertainties` (registry) on the independent calculation; random jobs, every cell, 1e-6 relative.

    The agreement is some 1e-8: what is left is the cut-off of the central difference. Left out are cells whose dead
    time lies on its floor of zero, where the two sides of the derivative differ.
    """
    compared = 0
    for number, drawn in enumerate(draw(8, SEED + batch)):
        job = to_job(drawn)
        table = compute(job).table
        found = budget_of(job)
        on_floor = (table.donor.dead_time_s <= 0) | (table.target.dead_time_s <= 0)
        with arithmetic_of_uncertain_numbers():
            true = truth(drawn, uncertain_inputs(job))
            for row, column in cells_of(drawn.new):
                if math.isnan(found.standard[row, column]) or on_floor[row, column]:
                    continue
                cell = float(table.new[row, column]) * job.target.shown.per_unit
                ratio = cast(Any, lambda_ratio(drawn, true, cell, row, column))
                where = f"job {number}, cell {row}, {column}"
                assert found.standard[row, column] == pytest.approx(ratio.s / ratio.n, rel=1e-6), where
                compared += 1
    assert compared > 50


@dataclass
class Bridge:
    """GUM H.2: voltage, current and phase of an element."""

    volts: Any
    amperes: Any
    phase: Any


@pytest.mark.check_value
def test_correlated_inputs_are_those_of_gum_h2() -> None:
    """JCGM 100:2008, example H.2, from its rounded inputs: R 127.732(70) Ω, X 219.85(30), Z 254.26(24), r −0.59, −0.49.

    As the documentation of the package GTC prints it (gtc.readthedocs.io, GUM H2); agreement to every printed digit.
    The correlated readings are written as independent inputs that each move several quantities: the way in which
    what both installations share enters here.
    """
    element = Bridge(4.9990, 19.661e-3, 1.04446)
    u = np.array([0.0032, 9.5e-6, 0.00075])
    correlation = np.array([[1.0, -0.36, 0.86], [-0.36, 1.0, -0.65], [0.86, -0.65, 1.0]])
    factor = np.linalg.cholesky(correlation * np.outer(u, u))

    def shared(column: int) -> Uncertain:
        def shift(world: Any, by: Any) -> Any:
            moved = [value + factor[row, column] * by for row, value in enumerate(vars(world).values())]
            return Bridge(*moved)

        return Uncertain(f"z{column}", (), 1.0, "", assumed=False, shift=shift)

    inputs = tuple(shared(column) for column in range(3))
    outcomes: dict[str, Callable[[Any], FloatArray]] = {
        "R": lambda b: b.volts / b.amperes * np.cos(b.phase),
        "X": lambda b: b.volts / b.amperes * np.sin(b.phase),
        "Z": lambda b: b.volts / b.amperes,
    }
    each = slopes(lambda b: [of(b) for of in outcomes.values()], cast(Any, element), inputs)
    found = {name: part[:, 0, 0] for name, part in zip(outcomes, each, strict=True)}
    standard = {name: float(np.sqrt(np.sum(part**2))) for name, part in found.items()}
    assert standard["R"] == pytest.approx(0.070, abs=0.0005)
    assert standard["X"] == pytest.approx(0.30, abs=0.005)
    assert standard["Z"] == pytest.approx(0.24, abs=0.005)
    assert float(found["R"] @ found["X"]) / (standard["R"] * standard["X"]) == pytest.approx(-0.59, abs=0.005)
    assert float(found["R"] @ found["Z"]) / (standard["R"] * standard["Z"]) == pytest.approx(-0.49, abs=0.005)


def with_inputs(job: Job, **spreads: tuple[float, float, bool]) -> Job:
    """The job with spreads stated: key with __ for dots → (value, half-width, k=2)."""
    inputs = {
        key.replace("__", "."): Input(key.replace("__", "."), "", value, value, "", half, k2)
        for key, (value, half, k2) in spreads.items()
    }
    return replace(job, inputs=inputs, declared=frozenset(inputs))


@pytest.mark.check_value
def test_the_worked_budget_of_chain_a() -> None:
    """Hand budget of one installation: flow 3 %, Δp 2 %, L 0.7 %, V 0.5 %, τ 0.05 ms at t_eff 9.71 ms.

    Each term is the textbook one: u(q), ½·u(Δp), u(L), u(V), u(τ)/t_eff (JCGM 100, equation 12). Stated as k = 2.
    """
    job = job_a_to_b(pulse_width=True)
    flow, rail, volume = 280e-6 / 60, 3e5, 1998e-6
    job = with_inputs(
        job,
        donor__injectors__static_flow=(flow, 2 * 0.03 * flow, True),
        donor__fuel__rail_pressure=(rail, 2 * 0.02 * rail, True),
        donor__fuel__stoichiometric=(14.6, 2 * 0.007 * 14.6, True),
        donor__engine__displacement=(volume, 2 * 0.005 * volume, True),
        donor__injectors__dead_time__time=(0.85e-3, 2 * 0.05e-3, True),
    )
    found = budget_of(job)
    t_eff = compute(job).table.donor
    effective = float(t_eff.pulse_s[0, 0] - t_eff.dead_time_s[0, 0])
    by_name = dict(zip((entry.name for entry in found.inputs), found.contributions[:, 0, 0], strict=True))
    assert by_name["injector flow of the donor"] == pytest.approx(0.03, rel=1e-6)
    assert by_name["rail pressure of the donor"] == pytest.approx(0.01, rel=1e-6)
    assert by_name["stoichiometric ratio of the petrol of the donor"] == pytest.approx(0.007, rel=1e-6)
    assert by_name["displacement of the donor"] == pytest.approx(-0.005, rel=1e-6)
    assert by_name["dead time of the donor"] == pytest.approx(-0.05e-3 / effective, rel=1e-6)


def stated(side: str, volume: float, flow: float, rail: float, ratio: float, density: float) -> dict[str, Any]:
    """Standard uncertainties of one side: flow 3 %, Δp 2 %, ρ 1 %, L 0.7 %, V 0.5 %, τ 0.05 ms; stated as k = 2."""
    relative = {
        "injectors__static_flow": (flow, 0.03),
        "fuel__rail_pressure": (rail, 0.02),
        "fuel__density": (density, 0.01),
        "fuel__stoichiometric": (ratio, 0.007),
        "engine__displacement": (volume, 0.005),
    }
    spreads = {f"{side}__{key}": (value, 2 * u * value, True) for key, (value, u) in relative.items()}
    return {**spreads, f"{side}__injectors__dead_time__time": (0.85e-3, 2 * 0.05e-3, True)}


@pytest.mark.check_value
def test_the_worked_budget_of_b_tuned_from_a() -> None:
    """Root sum of both sides' budgets, 0.04774615459453426, from the package `uncertainties` 3.2.3 and by hand alike.

    Chain A has t_eff 9.712551 ms, chain B 6.730164 ms. Agreement 1e-7: the cut-off of the central differences.
    """
    cells = pulse_cells(9.712551161819152 + 0.85)
    job = with_inputs(
        to_job(problem(installation_a(), installation_b(), cells)),
        **stated("donor", 1998e-6, 280e-6 / 60, 3e5, 14.6, 745.0),
        **stated("target", 2393e-6, 650e-6 / 60, 3.5e5, 9.79579368, 786.384732),
    )
    found = budget_of(job)
    kinds = (
        "injector flow",
        "rail pressure",
        "density of the petrol",
        "stoichiometric",
        "displacement",
        "dead time of",
    )
    parts = [
        row[0, 0] for entry, row in zip(found.inputs, found.contributions, strict=True) if entry.name.startswith(kinds)
    ]
    assert len(parts) == 12
    assert math.hypot(*parts) == pytest.approx(0.04774615459453426, rel=1e-7)


@pytest.mark.law
def test_what_both_sides_share_leaves_no_band() -> None:
    """Donor = target and everything shared: the efficiency, each box's sensors and the voltages stay, which cancel."""
    job = job_a_to_b(pulse_width=True)
    job = replace(
        job,
        same_as_donor=frozenset({"engine", "injectors", "fuel"}),
        target=replace(job.target, hardware=job.donor.hardware),
    )
    found = budget_of(job)
    left = {
        entry.name for entry, row in zip(found.inputs, found.contributions, strict=True) if np.abs(row).max() > 1e-9
    }
    assert left <= {
        "volumetric efficiency of the donor",
        "breathing of the target (another engine)",
        "battery voltage of the donor",
        "battery voltage of the target",
        "pressure reading of the donor",
        "pressure reading of the target",
        "charge-temperature reading of the donor",
        "charge-temperature reading of the target",
    }


@pytest.mark.law
def test_no_spread_is_no_band() -> None:
    job = job_a_to_b(pulse_width=False)
    forward = Forward.of(job)
    assert np.all(budget(job, forward, forward.old(), ()).expanded == 0.0)


@pytest.mark.law
def test_the_map_as_it_is_has_the_band_of_its_own_budget() -> None:
    """Both tables are worked out together; each has the band that it has alone."""
    job = job_a_to_b(pulse_width=True)
    band, forward = bands(compute(job)), Forward.of(job)
    np.testing.assert_array_equal(band.as_loaded, budget(job, forward, forward.old()).expanded)
    assert (band.as_loaded != band.adapted).any()


@pytest.mark.law
@pytest.mark.parametrize("state", list(DonorState))
def test_a_better_known_donor_has_a_narrower_band(state: DonorState) -> None:
    job = replace(job_a_to_b(pulse_width=False), donor_state=state)
    found = budget_of(job)
    index = [entry.name for entry in found.inputs].index("volumetric efficiency of the donor")
    assert found.contributions[index] == pytest.approx(EFFICIENCY[state], rel=1e-6)


@pytest.mark.law
def test_monte_carlo_is_first_order_where_the_model_is_linear() -> None:
    """JCGM 101: where pulses are long the two agree; 1 %, of which the drawing itself is 0.25 % at 80,000 worlds.

    Of one engine on itself: the field of two engines is wide enough that ln λ is not λ − 1.
    """
    alike = replace(job_a_to_b(pulse_width=True), likeness=Likeness.SAME_ENGINE)
    job = replace(alike, donor_state=DonorState.TUNED)
    forward = Forward.of(job)
    loaded = forward.new(compute(job).table.new * job.target.shown.per_unit)
    drawn = simulate(job, forward, loaded, samples=80_000, seed=7)
    assert drawn.standard == pytest.approx(budget(job, forward, loaded).standard, rel=0.01)
    assert drawn.no_fuel == pytest.approx(0.0, abs=0.0)
    assert np.all(drawn.low < 1.0)
    assert np.all(drawn.high > 1.0)


@pytest.mark.law
def test_monte_carlo_is_wider_and_leaner_where_the_pulse_is_short() -> None:
    """1/t_eff bends towards lean: at u(t_eff)/t_eff near a third the lean side is the longer one, and is not halved."""
    job = short_pulse_job()
    forward = Forward.of(job)
    loaded = forward.new(compute(job).table.new * job.target.shown.per_unit)
    first = budget(job, forward, loaded)
    drawn = simulate(job, forward, loaded, samples=40_000, seed=7)
    short = first.short_pulses
    assert short.any()
    assert np.all((drawn.high - 1.0)[short] > (1.0 - drawn.low)[short])
    band = bands(compute(job))
    assert band.simulated.any()
    assert np.all(band.adapted[band.simulated] > first.expanded[band.simulated])


@pytest.mark.law
def test_the_bands_of_some_cells_alone_are_those_of_the_whole_table() -> None:
    """Whether they are drawn, or of first order."""
    job = short_pulse_job()
    values = job.donor.table.values.copy()
    values[-1] = 10.56e-3
    computed = compute(with_donor_side(job, table=replace(job.donor.table, values=values)))
    whole = bands(computed)
    assert {bool(cells.all()) for cells in whole.simulated} == {True, False}
    assert bands_at(computed, np.ndindex(*whole.adapted.shape)) == whole.adapted.ravel().tolist()
    for row in (0, -1):
        assert bands_at(computed, [(row, 0)]) == [whole.adapted[row, 0]]


def short_pulse_job() -> Job:
    """Chain A to B with pulses a tenth as long: t_eff about 0.5 ms with a dead time known to ±0.3 ms."""
    job = job_a_to_b(pulse_width=True)
    table = replace(job.donor.table, values=np.full_like(job.donor.table.values, 1.6e-3))
    return with_inputs(
        replace(job, donor=replace(job.donor, table=table)),
        target__injectors__dead_time__time=(0.85e-3, 0.3e-3, False),
        donor__injectors__dead_time__time=(0.85e-3, 0.1e-3, False),
    )


@pytest.mark.law
def test_samples_do_not_depend_on_the_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """The counts add up to the samples asked for, whatever fits in memory at once."""
    job = job_a_to_b(pulse_width=True)
    forward = Forward.of(job)
    loaded = forward.new(compute(job).table.new * job.target.shown.per_unit)
    done: list[int] = []
    monkeypatch.setattr("basemap.belief.monte_carlo.CELLS_AT_ONCE", 3 * loaded.cells.size)
    drawn = simulate(job, forward, loaded, samples=100, seed=1, limit=0.0, progress=done.append)
    assert done == [*range(3, 100, 3), 100]
    assert np.all(drawn.leaner == 1.0)


@pytest.mark.law
def test_the_first_measurement_is_the_one_that_helps_most() -> None:
    band = bands(compute(job_a_to_b(pulse_width=True)))
    after = [share.worst_after for share in band.shares if share.worst_after is not None]
    assert after == sorted(after)
    assert after[0] < band.worst
    for place, name in band.first.items():
        row = next(share for share in band.shares if share.name == name)
        assert row.after[place] == min(share.after[place] for share in band.shares if share.after)
        assert f"measure the {name} first" in band.advice


def on_fuels(donor: dict[str, float], target: dict[str, float]) -> Job:
    job = with_donor(make_job(), "fuel", parts=tuple(donor.items()))
    return with_target(job, "fuel", parts=tuple(target.items()))


@pytest.mark.check_value
def test_a_fuel_of_another_family_widens_the_band() -> None:
    """At λ 1 petrol takes 2.0 % of the charge and E85 5.6 % (Heywood 6.2): 0.944/0.980 is 3.7 % less air, 3.8 % more.

    As a rectangle that is 2.1 and 2.2 %. The figures of the charge are good to 0.1 %, so this to 0.1 %.
    """
    name = "air drawn with a fuel of another family"
    petrol, e85 = {"petrol": 1.0}, {"petrol": 0.15, "ethanol": 0.85}
    for donor, target, change in ((petrol, e85, 0.037), (e85, petrol, 0.038)):
        found = budget_of(on_fuels(donor, target))
        index = [entry.name for entry in found.inputs].index(name)
        assert found.inputs[index].standard == pytest.approx(change / math.sqrt(3), abs=0.001)
        assert found.contributions[index] == pytest.approx(found.inputs[index].standard, rel=1e-6)
        assert found.inputs[index].measured_to is None


@pytest.mark.law
@pytest.mark.parametrize(
    "target", [{"petrol": 0.9, "ethanol": 0.1}, {"petrol": 0.68, "ethanol": 0.32}], ids=["E10", "E32"]
)
def test_a_fuel_of_the_same_family_does_not(target: dict[str, float]) -> None:
    names = [entry.name for entry in uncertain_inputs(on_fuels({"petrol": 0.95, "ethanol": 0.05}, target))]
    assert "air drawn with a fuel of another family" not in names
    unknown = with_donor_side(on_fuels({"petrol": 1.0}, {"ethanol": 1.0}), fuel_known=False)
    assert "air drawn with a fuel of another family" not in [entry.name for entry in uncertain_inputs(unknown)]


@pytest.mark.check_value
def test_a_ratio_far_from_the_donors_widens_the_band_by_what_it_may_be() -> None:
    """L = 9.8 is petrol with 59.0 % of methanol by mass (6.2 % of the charge) or 85.7 % of ethanol (5.6 %): the wider.

    From petrol, 1.9 %: 0.938/0.981 is 4.4 % less air, as a rectangle 2.5 %; good to 0.1 % as the figures are.
    """
    name = "air drawn with a fuel of another family"
    found = budget_of(with_target(make_job(), "fuel", stoichiometric=9.8))
    index = [entry.name for entry in found.inputs].index(name)
    assert found.inputs[index].standard == pytest.approx(0.044 / math.sqrt(3), abs=0.0005)
    near = uncertain_inputs(with_target(make_job(), "fuel", stoichiometric=14.6))
    assert name not in [entry.name for entry in near]
