"""From the job file to the cells: likeness, makers' figures, residual gas, and what is written richer."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt, check
from basemap.belief.breathing import Believed
from basemap.jobfile.load import build_job
from basemap.model.finding import HowFar, Severity, Verdict
from basemap.model.job import Job
from basemap.model.likeness import Breathing, Likeness
from basemap.report.grid_file import grid_bytes
from basemap.report.json_file import as_json

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
SPARE = (SAMPLES / "rebored_spare.toml").read_text(encoding="utf-8")


def spare(**changes: Any) -> Job:
    """The rebored spare on its own map, with keys of ``section__key`` set; `None` takes a key out. Invented."""
    data = tomllib.loads(SPARE)
    for path, value in changes.items():
        *sections, key = path.split("__")
        section = data
        for name in sections:
            section = section.setdefault(name, {})
        if value is None:
            section.pop(key, None)
        else:
            section[key] = value
    return build_job(data, SAMPLES, "job.toml")


def figures(power_kw: float, torque_nm: float) -> dict[str, str]:
    """Makers' figures of both: the donor makes 92 kW and 170 N·m."""
    return {
        "donor__engine__peak_torque": "170 Nm @ 4500 rpm",
        "target__engine__rated_power": f"{power_kw} kW @ 6200 rpm",
        "target__engine__peak_torque": f"{torque_nm} Nm @ 4500 rpm",
    }


BETTER = figures(92 * 1.25, 170 * 1.25)
WORSE = figures(92 * 0.8, 170 * 0.8)


@pytest.mark.law
def test_the_likeness_is_stated_or_that_of_the_same_parts_or_assumed() -> None:
    assert spare().likeness is Likeness.SAME_ENGINE
    unsaid = spare(target__engine__likeness=None)
    assert unsaid.likeness is Likeness.ANOTHER_ENGINE
    assert "target.engine.likeness" in [entry.key for entry in unsaid.assumed]
    copied = spare(target__engine__likeness=None, target__same_as_donor=["engine", "injectors", "fuel"])
    assert copied.likeness is Likeness.SAME_ENGINE
    assert "target.engine.likeness" not in [entry.key for entry in copied.assumed]


@pytest.mark.law
def test_figures_enrich_and_are_told() -> None:
    plain, moved = (check(spare(target__engine__likeness="another engine", **more)) for more in ({}, BETTER))
    assert [entry.name for entry in moved.table.breathing.evidence] == [
        "rated power of both engines",
        "peak torque of both engines",
    ]
    factor = moved.table.breathing_factor
    assert factor is not None
    assert (factor >= 1.0).all()
    assert factor.max() > 1.05
    np.testing.assert_allclose(moved.table.new, plain.table.new * factor, rtol=1e-12)
    written = as_json(moved)
    assert [entry["keys"] for entry in written["evidence"]] == [
        ["donor.engine.rated_power", "target.engine.rated_power"],
        ["donor.engine.peak_torque", "target.engine.peak_torque"],
    ]
    np.testing.assert_allclose(np.array(written["tables"]["fuel"]["breathing_factor"]), factor, rtol=1e-12)
    assert "breathing-estimate" in [finding.rule for finding in moved.findings]


@pytest.mark.law
def test_figures_narrow_the_band_where_they_were_made() -> None:
    plain, moved = (check(spare(target__engine__likeness="another engine", **more)) for more in ({}, BETTER))
    assert (moved.band.adapted <= plain.band.adapted * (1 + 1e-9)).all()
    assert moved.table.breathing.standard.min() < 0.6 * plain.table.breathing.standard.min()


@pytest.mark.law
def test_figures_lean_out_only_by_word() -> None:
    another = {"target__engine__likeness": "another engine"}
    plain, left = check(spare(**another)), check(spare(**another, **WORSE))
    np.testing.assert_array_equal(left.table.new, plain.table.new)
    assert left.table.breathing_factor is None
    assert left.table.breathing.lambda_expected.min() < 0.95
    (told,) = [finding for finding in left.findings if finding.rule == "breathing-estimate"]
    assert told.severity is Severity.NOTE
    assert "No fuel has been taken out for that." in told.message
    both = check(spare(**another, **WORSE, options__breathing_both_ways=True))
    np.testing.assert_allclose(both.table.breathing.lambda_expected, 1.0, rtol=1e-12)
    assert both.table.breathing_factor is not None
    assert both.table.breathing_factor.min() < 0.95


@pytest.mark.law
def test_a_figure_that_is_only_copied_is_no_second_one() -> None:
    job = spare(target__same_as_donor=["engine", "injectors", "fuel"], target__engine__likeness=None)
    assert Believed.of(job).breathing.evidence == ()


@pytest.mark.law
def test_the_lean_end_is_about_what_is_expected() -> None:
    """λ_expected·exp(U) while cruising; at load no less than the leanest cell has (tests/belief/test_leanest.py)."""
    result = check(spare(target__engine__likeness="another engine", **WORSE))
    rows = result.job.target.table.load_pa >= 0.8 * result.job.target.hardware.conditions.barometer_pa
    at_load = rows[:, np.newaxis] & result.table.reachable
    new = np.fmax(result.table.lambda_ratio["new_table_new_settings"], result.table.stored_lambda_ratio)
    ends = new * result.table.breathing.lambda_expected * np.exp(result.band.adapted)
    light, load = result.lean_ends["light load"], result.lean_ends["at load"]
    assert light is not None
    assert load is not None
    cell = int(np.abs(result.job.target.shown.load - light.load).argmin()), int((result.job.rpm == light.rpm).argmax())
    assert light.ratio == pytest.approx(ends[cell], rel=1e-12)
    assert load.ratio > np.nanmax(np.where(at_load, ends, np.nan))


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("likeness", "share", "doubted"),
    [("same engine", 0.77, False), ("same engine", 0.74, True), ("another engine", 0.64, False)],
)
def test_figures_that_two_such_engines_cannot_explain_send_nobody_to_load(
    likeness: str, share: float, doubted: bool
) -> None:
    """By hand, at 4500 rpm: the donor's 170 N·m are 10.692 bar in 1998 cc, the share of them 10.534 bar in 2028 cc.

    With friction of 2.658 bar the works are 13.350 bar and 10.534·share + 2.658: ln of the ratio −0.213 for 0.77,
    −0.244 for 0.74, −0.348 for 0.64. One standard deviation: √(2² + 2.2² + 2·5²) % = 7.67 % for the same engine,
    √(8² + 7.5² + 2·5²) % = 13.05 % for another: −2.78, −3.18 and −2.67 of them. At 6200 rpm friction is a larger part,
    and each is less.
    """
    result = check(
        spare(target__engine__likeness=likeness, options__richer_at_load="15 %", **figures(92 * share, 170 * share))
    )
    assert result.how_far is (HowFar.LIGHT if doubted else HowFar.LOAD), result.how_far_because
    assert result.how_far_because.startswith("the makers' figures") == doubted
    severity = {each.rule: each.severity for each in result.findings}["breathing-estimate"]
    assert severity is (Severity.CAUTION if doubted else Severity.NOTE)
    assert result.table.breathing.surprise == pytest.approx({0.77: -2.78, 0.74: -3.18, 0.64: -2.67}[share], abs=0.03)


# The numbers of the words: 12 % at load, 35 % while cruising. Common practice, no source.
@pytest.mark.law
@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, HowFar.LOAD),
        ({"target__engine__likeness": "same head and cams"}, HowFar.LIGHT),
        ({"target__engine__likeness": "another engine"}, HowFar.LIGHT),
        ({"target__engine__likeness": "another engine", "donor__state": "unknown"}, HowFar.IDLE),
        ({"target__engine__likeness": "same head and cams", "options__richer_at_load": "5 %"}, HowFar.LOAD),
    ],
)
def test_how_far_to_go(changes: dict[str, Any], expected: HowFar) -> None:
    result = check(spare(**changes))
    assert result.verdict is Verdict.SUITS
    assert result.how_far is expected, result.how_far_because


# By hand at 101.325 kPa: nothing up to 60.8 kPa, all of it from 81.06 kPa; at 70 kPa (0.69085 − 0.6)/0.2 = 0.454 of it.
@pytest.mark.check_value
def test_cells_at_load_are_written_richer_and_the_change_is_not_mixed_with_it() -> None:
    plain, richer = adapt(spare()), adapt(spare(options__richer_at_load="10 %"))
    np.testing.assert_array_equal(plain.table.new, richer.table.new)
    np.testing.assert_array_equal(plain.table.change_percent, richer.table.change_percent)
    assert richer.table.richer is not None
    ratio = richer.table.richer.new / plain.table.new
    load_kpa = richer.job.target.table.load_pa / 1e3
    for row, pressure in enumerate(load_kpa):
        expected = 1.0 + 0.1 * min(max((pressure / 101.325 - 0.6) / 0.2, 0.0), 1.0)
        # The cell of a volumetric efficiency is proportional to the fuel.
        np.testing.assert_allclose(ratio[row], expected, rtol=1e-9)
    assert ratio.max() == pytest.approx(1.1, rel=1e-12)
    assert grid_bytes(richer) != grid_bytes(plain)
    fuel = as_json(richer)["tables"]["fuel"]
    assert fuel["to_load"] == richer.table.richer.stored.tolist()


@pytest.mark.law
def test_richer_cells_are_judged_by_what_the_table_can_hold() -> None:
    highest = float(np.nanmax(adapt(spare()).table.new))
    held = {"target__tables__fuel__maximum": highest + 1.0}
    assert "stored-table" not in [finding.rule for finding in check(spare(**held)).findings]
    (stop,) = [f for f in check(spare(**held, options__richer_at_load="10 %")).findings if f.rule == "stored-table"]
    assert stop.severity is Severity.STOP


def with_physics(before: float | None, now: float | None, **changes: Any) -> Job:
    return spare(
        donor__engine__compression_ratio=before,
        target__engine__compression_ratio=now,
        conditions__barometer="101.325 kPa",
        **changes,
    )


# By hand from f = 1 − (pe/p − 1)/(1.4·(r − 1)) at 40 kPa, where pe/p − 1 = 1.533125: 1 − 0.146012 and 1 − 0.115273.
@pytest.mark.check_value
def test_residual_gas_is_counted_where_it_is_known() -> None:
    job = with_physics(8.5, 10.5)
    assert (job.breathing, job.breathing_by_default) == (Breathing.RESIDUAL_GAS, True)
    factor = check(job).table.breathing_factor
    assert factor is not None
    row = int(np.abs(job.target.table.load_pa - 40e3).argmin())
    assert job.target.table.load_pa[row] == pytest.approx(40e3)
    np.testing.assert_allclose(factor[row], (1 - 0.115273) / (1 - 0.146012), rtol=2e-6)
    np.testing.assert_allclose(factor[-1], 1.0, rtol=2e-3)


@pytest.mark.law
def test_residual_gas_leans_out_at_light_load_only_and_is_expected_everywhere() -> None:
    result = check(with_physics(10.5, 8.5))
    factor, share = result.table.breathing_factor, result.job.target.table.load_pa / 101_325.0
    assert factor is not None
    assert (factor[share <= 0.5] < 1.0).all()
    np.testing.assert_array_equal(factor[share >= 0.6], 1.0)
    expected = result.table.breathing.lambda_expected
    np.testing.assert_allclose(expected[share <= 0.5], 1.0, rtol=1e-12)
    assert (expected[(share >= 0.6) & (share < 0.9)] < 1.0).all()


@pytest.mark.law
@pytest.mark.parametrize(
    "job",
    [
        with_physics(8.5, None),
        with_physics(9.0, 9.0),
        with_physics(8.5, 10.5, options__breathing="same"),
        spare(donor__engine__compression_ratio=8.5, target__engine__compression_ratio=10.5),
    ],
    ids=["one ratio", "alike", "switched off", "no barometer"],
)
def test_where_residual_gas_is_not_known_or_not_wanted_it_is_left_out(job: Job) -> None:
    assert job.breathing is Breathing.SAME
    assert check(job).table.breathing_factor is None


@pytest.mark.law
def test_that_it_was_left_out_is_said() -> None:
    told = [
        f.message for f in check(spare(donor__engine__compression_ratio=8.5)).findings if f.rule == "breathing-estimate"
    ]
    assert told == [
        "The new cells leave out residual gas, and the two engines differ in compression: at light load the target "
        "may draw a few per cent more or less air than the donor."
    ]


@pytest.mark.law
def test_draws_of_the_cells_have_the_standard_deviation_of_the_band() -> None:
    believed = Believed.of(spare(target__engine__likeness="another engine", **BETTER))
    drawn = believed.draw(20_000, np.random.default_rng(5))
    assert drawn.shape[1:] == believed.breathing.standard.shape
    assert drawn.std(axis=0) == pytest.approx(1.0, rel=0.03)
    # Neighbours vary together: the field is smooth.
    near, far = (np.corrcoef(drawn[:, 5, 3], drawn[:, row, column])[0, 1] for row, column in ((5, 4), (0, 9)))
    assert near > 0.8
    assert near > far
