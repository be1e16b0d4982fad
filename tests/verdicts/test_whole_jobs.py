"""Whole jobs, each judged as a calibrator would judge it. The limits are those of the rules; the jobs are invented."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from basemap.__main__ import main
from basemap.adaptation.pipeline import adapt
from basemap.exit_status import ExitStatus
from basemap.jobfile.load import load_job
from basemap.model.finding import Finding, Scope, Severity, Verdict
from basemap.model.result import Result
from basemap.report.grid_file import grid_bytes
from tests.verdicts.jobs import (
    INHG_KPA,
    boosted_for_atmospheric,
    mountain_for_boosted,
    plenum_for_individual,
    single_onto_ethanol,
)

TARGET_LAMBDA = "[target.tables.fuel]\nlambda = 0.88\n"


@cache
def judged(write: Callable[..., Path], *changes: str) -> Result:
    with TemporaryDirectory() as folder:
        return adapt(load_job(write(Path(folder), *changes)))


def said(result: Result, rule: str) -> list[Finding]:
    return [finding for finding in result.findings if finding.rule == rule]


def stops(result: Result) -> list[str]:
    return [stop.rule for stop in result.stops]


class TestBoostedDonorForAnAtmosphericEngine:
    """Injectors of twice the size, half of the donor's data unknown: usable, but not before a mixture is chosen."""

    def test_verdict(self) -> None:
        result = judged(boosted_for_atmospheric)
        assert (result.verdict, stops(result)) == (Verdict.ADAPT, [])

    def test_a_mixture_is_asked_for(self) -> None:
        (finding,) = said(judged(boosted_for_atmospheric), "boosted-donor-atmospheric-target")
        assert finding.severity is Severity.CAUTION
        assert finding.message == (
            "The donor is boosted and the target is not: the donor's part load is the target's full load. State its "
            "mixture from 90 to 105 kPa: λ 0.95 only stands in for an unknown value."
        )

    def test_its_own_part_load_mixture_is_refused_there(self) -> None:
        result = judged(boosted_for_atmospheric, '"lean.csv"')
        assert (result.verdict, stops(result)) == (Verdict.REFUSE, ["boosted-donor-atmospheric-target"])
        assert 'as "target.tables.fuel.lambda"' in result.stops[0].remedy

    @pytest.mark.parametrize("intended", ['"unknown"', '"lean.csv"'])
    def test_with_a_mixture_of_its_own(self, intended: str) -> None:
        result = judged(boosted_for_atmospheric, intended, TARGET_LAMBDA)
        assert (result.verdict, stops(result)) == (Verdict.ADAPT, [])
        assert said(result, "intended-mixture-at-load") == []
        (finding,) = said(result, "boosted-donor-atmospheric-target")
        assert finding.message.endswith("The intended λ there is rich enough; ignition there is not adapted.")

    def test_every_unknown_is_named(self) -> None:
        result = judged(boosted_for_atmospheric)
        named = [finding.message.split(" is unknown")[0] for finding in said(result, "unknown-inputs")]
        assert sorted(named) == [
            "donor.fuel.blend",
            "donor.injectors.dead_time",
            "donor.injectors.rated_fluid",
            "donor.injectors.rated_pressure",
            "donor.tables.fuel.lambda",
        ]

    def test_half_the_fuel_if_it_is_loaded_as_it_is(self) -> None:
        """440 for 880 cc/min on cylinders of 0.9 the size: λ is 2 · 0.9 = 1.8, and a little dead time apart."""
        ratio = judged(boosted_for_atmospheric).table.lambda_ratio["old_table_old_settings"]
        assert np.nanmedian(ratio) == pytest.approx(1.8, rel=0.02)


class TestSingleFromPetrolToEthanol:
    """A box that knows no stoichiometric ratio: all goes into the cells, and in the cold it does not start."""

    def test_verdict(self) -> None:
        result = judged(single_onto_ethanol)
        assert (result.verdict, stops(result), result.limits) == (Verdict.ADAPT, [], ())

    def test_there_is_no_setting_for_the_fuel(self) -> None:
        result = judged(single_onto_ethanol)
        assert "stoichiometric" not in [setting.name for setting in result.settings]
        (finding,) = said(result, "fuel")
        assert finding.message.endswith("Once adapted, the new cells allow for it.")

    def test_the_cold_start_is_not_in_the_file(self) -> None:
        result = judged(single_onto_ethanol)
        (table,) = said(result, "no-cranking-table")
        assert table.message.endswith(" On this fuel the engine will not start below 15 °C with this table alone.")
        (cold,) = said(result, "ethanol-cold-start")
        assert cold.message == (
            "The target's fuel is 80 % ethanol and its coldest start is at 0 °C (caution from 50 % below 15 °C): cold "
            "fuelling is not adapted."
        )

    def test_the_cells_by_hand(self) -> None:
        """Pulses without dead time, same air, same rail: they change by L/L' · flow/flow' · √(density/density')."""
        result = judged(single_onto_ethanol)
        before, now = result.job.donor.hardware.fuel, result.job.target.hardware.fuel
        factor = before.stoichiometric / now.stoichiometric * 320 / 520 * (before.density / now.density) ** 0.5
        np.testing.assert_allclose(result.table.new / result.table.old, factor, rtol=1e-9)


class TestMountainDonorForABoostedEngine:
    """Known up to the barometer at 1600 m, 83.5 kPa, and no further."""

    CUT = 'load_cut = "24.6 inHg absolute"'

    def test_without_a_cut(self) -> None:
        result = judged(mountain_for_boosted)
        assert (result.verdict, stops(result)) == (Verdict.REFUSE, ["load-beyond-donor"])
        (stop,) = result.stops
        # ISO 2533, table: 83 524 Pa at 1600 m. 10 psi over 29.92 inHg are 170.3 kPa.
        assert stop.limit == pytest.approx(83.524, abs=0.002)
        assert stop.value == pytest.approx(101.32 + 68.95, abs=0.01)

    def test_with_a_cut_at_the_donors_barometer(self) -> None:
        result = judged(mountain_for_boosted, self.CUT)
        assert (result.verdict, stops(result)) == (Verdict.ADAPT, [])
        assert result.limits == (
            "Load no higher than 24.6 inHg absolute: the result is valid only while the ECU enforces this "
            "target.engine.load_cut (load-beyond-donor)",
        )

    def test_a_cut_above_the_donors_barometer_does_not_do(self) -> None:
        result = judged(mountain_for_boosted, 'load_cut = "25 inHg absolute"')
        assert (result.verdict, stops(result)) == (Verdict.REFUSE, ["load-beyond-donor"])

    def test_nothing_is_known_in_boost(self) -> None:
        result = judged(mountain_for_boosted)
        load_inhg = result.job.target.shown.load
        known = load_inhg * INHG_KPA <= 83.524
        assert result.table.visited.all(axis=1).tolist() == known.tolist()
        assert not result.table.visited[load_inhg > 29.92].any()

    def test_units_by_hand(self, tmp_path: Path) -> None:
        """122 cuin, 24 and 50 lb/h, 95 degF, in SI."""
        job = load_job(mountain_for_boosted(tmp_path))
        assert job.donor.hardware.engine.displacement_m3 == pytest.approx(122 * 0.0254**3)
        assert job.donor.hardware.injectors.static.mass_flow == pytest.approx(24 * 0.45359237 / 3600)
        assert job.target.hardware.injectors.static.mass_flow == pytest.approx(50 * 0.45359237 / 3600)
        assert job.donor.hardware.conditions.charge_temperature_k == pytest.approx((95 - 32) / 1.8 + 273.15)
        assert job.donor.table.load_pa[-1] == pytest.approx(52 * 3386.388640341)


class TestThrottleTableForIndividualThrottles:
    """Not to be used at part throttle; wide open and cranking are adapted all the same."""

    def test_verdict(self) -> None:
        result = judged(plenum_for_individual)
        assert (result.verdict, stops(result)) == (Verdict.REFUSE, ["throttle-layout"])
        assert result.stops[0].scope is Scope.LIMIT

    def test_part_throttle_is_empty_and_wide_open_is_not(self) -> None:
        result = judged(plenum_for_individual)
        assert np.isnan(result.table.new[:-1]).all()
        # By hand: the volumes, and nothing else differs.
        np.testing.assert_allclose(result.table.new[-1], 1798.0 / 1998.0 * result.table.old[-1], rtol=1e-12)

    def test_cranking_is_adapted(self) -> None:
        (crank,) = judged(plenum_for_individual).further_tables
        np.testing.assert_allclose(crank.new, 1798.0 / 1998.0 * np.array([40.0, 20.0, 12.0]), rtol=1e-12)

    def test_nothing_to_load_is_written_but_the_user_may_take_it_upon_himself(self, tmp_path: Path) -> None:
        job = plenum_for_individual(tmp_path)
        assert main(["adapt", str(job), "--out", str(tmp_path / "a"), "--quiet"]) == ExitStatus.DO_NOT_USE
        assert sorted(path.name for path in (tmp_path / "a").iterdir()) == [
            f"individual.{kind}" for kind in ("html", "json", "xlsx")
        ]
        accepted = adapt(load_job(job), accept=["throttle-layout"])
        assert accepted.verdict is Verdict.ADAPT
        lines = grid_bytes(accepted).decode().splitlines()
        assert lines[2] == "2" + "," * 13
        assert lines[-1].startswith("100,")
        assert lines[-1].count(".") == 13

    def test_with_a_shared_manifold_it_would_do(self) -> None:
        result = judged(plenum_for_individual, 'throttle_bore = "55 mm"')
        assert (result.verdict, stops(result)) == (Verdict.ADAPT, [])
