"""An ECU that is told the density of its fuel as well as the injectors' flow."""

from __future__ import annotations

from dataclasses import replace

import pytest
from numpy.testing import assert_allclose

from basemap.adaptation.pipeline import compute
from basemap.model.job import Job
from basemap.model.result import Computed
from tests.independent.strategies import to_job
from tests.independent.worked import installation_a, installation_b, problem, ve_cells

PETROL_15, E85_15 = 763.0, 786.0
"""At 15 °C, kg/m³: invented, near petrol and E85."""


def job(told: float | None = 763.0, flow: float | None = None, stuck: tuple[str, ...] = ()) -> Job:
    """Installation A's table, 85 % VE, on B, whose fuel is E85."""
    plain = to_job(problem(installation_a(), installation_b(), ve_cells(0.85)))
    donor = replace(plain.donor.hardware, fuel=replace(plain.donor.hardware.fuel, density_15=PETROL_15))
    fuel = replace(plain.target.hardware.fuel, density_15=E85_15)
    return replace(
        plain,
        cannot_be_told=frozenset(stuck),
        donor=replace(plain.donor, hardware=donor, told=replace(plain.donor.told, fuel_density=told)),
        target=replace(
            plain.target, hardware=replace(plain.target.hardware, fuel=fuel), told=replace(plain.target.told, flow=flow)
        ),
    )


def entered(found: Computed) -> dict[str, float]:
    return {one.name: one.in_force for one in found.settings if isinstance(one.in_force, float)}


@pytest.mark.check_value
def test_from_petrol_to_e85_by_hand_and_what_typing_another_would_do() -> None:
    """280 cc/min at 3 bar on petrol → 650 cc/min at 3.5 bar on E85; the densities told are 763 and 786 kg/m³.

    By hand: ṁ_t/ṁ_d = 650/280 · √(3.5/3) · √(786.384732/745) = 2.57613 and 280 · 763/786 · 2.57613 = 700.21 cc/min.
    The rating, 650, is 7 % less: an ECU that believes the injectors to be smaller opens them longer, 7 % too rich. What
    the injectors pass, ṁ_t/ρ = 2.57613 · 3.3308412 g/s / 786.384732 = 654.69 cc/min, is as wrong.
    """
    found = compute(job())
    settings = entered(found)
    assert settings["fuel_density"] == 786.0
    assert settings["static_flow"] == pytest.approx(700.2096, rel=1e-6)
    assert_allclose(found.table.new, 85.0, rtol=1e-12)
    flow = next(one for one in found.settings if one.name == "static_flow")
    assert flow.basis == (
        "type this one: on the same basis as the donor's entry, which is for 3 bar rail on a rating fluid of 683.8 "
        "kg/m3; the target's rail is 3.5 bar (not its rating, 650 cc/min, nor the 654.69 cc/min of fuel it passes)"
    )


@pytest.mark.check_value
@pytest.mark.parametrize("wrong", [650.0, 654.6938])
def test_a_flow_typed_instead_is_too_rich_by_what_it_is_too_small(wrong: float) -> None:
    kept = compute(job(flow=wrong * 1e-6 / 60.0))
    # The cells then correct for it: the 85 % that they keep with the right entry fall by as much.
    assert_allclose(kept.table.new, 85.0 * wrong / 700.2096, rtol=1e-6)


@pytest.mark.law
def test_the_mass_flow_to_enter_does_not_depend_on_the_density_that_was_told() -> None:
    """Flow times density is the mass flow: if the donor's entry was 10 % too large, so is the new one."""
    right, wrong = compute(job()), compute(job(told=763.0 * 1.1))
    assert entered(wrong)["static_flow"] == pytest.approx(1.1 * entered(right)["static_flow"], rel=1e-12)
    assert_allclose(wrong.table.new, right.table.new, rtol=1e-12)
    # An ECU that believes its fuel to be denser opens for a shorter time: less air behind the tuned cell.
    assert_allclose(wrong.table.donor.air_kg, right.table.donor.air_kg / 1.1, rtol=1e-12)


@pytest.mark.law
def test_a_density_that_is_the_truth_changes_nothing_but_the_entries() -> None:
    told, untold = compute(job()), compute(job(told=None))
    assert_allclose(told.table.new, untold.table.new, rtol=1e-12)
    assert entered(told)["static_flow"] == pytest.approx(entered(untold)["static_flow"] * 763.0 / 786.0, rel=1e-12)
    assert "fuel_density" not in entered(untold)


@pytest.mark.law
@pytest.mark.parametrize("stuck", [("fuel_density",), ("static_flow",), ("fuel_density", "static_flow")])
def test_what_cannot_be_told_is_in_the_cells_and_the_mixture_closes(stuck: tuple[str, ...]) -> None:
    found = compute(job(stuck=stuck))
    settings = entered(found)
    assert_allclose(found.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    assert settings["fuel_density"] == (763.0 if "fuel_density" in stuck else 786.0)
    if "static_flow" not in stuck:
        assert settings["static_flow"] == pytest.approx(700.2096 * 786.0 / 763.0, rel=1e-6)
        assert_allclose(found.table.new, 85.0, rtol=1e-12)
        return
    assert settings["static_flow"] == pytest.approx(280.0, rel=1e-12)
    believed = 280.0 * settings["fuel_density"]
    assert_allclose(found.table.new, 85.0 * believed / (700.2096 * 786.0), rtol=1e-6)
