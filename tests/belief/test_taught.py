"""`adapt` of a learnt job: the same as `learn`, with its band, holds and factor; changed options carry through."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import basemap
from basemap.adaptation.first_start import idle_point
from basemap.belief.cells_after import large_changes
from basemap.belief.monte_carlo import Drawing
from basemap.errors import InputError
from basemap.explain.cell import worked_cell
from basemap.logs.learn import learn
from basemap.model.drive import Chunks, DriveLog, DrivePoints
from basemap.model.finding import HowFar, Verdict
from basemap.model.installation import FloatArray
from basemap.model.job import Job
from basemap.model.learnt import Learnt, LearntTable
from basemap.model.result import Result
from basemap.report.brief import Topic, brief
from basemap.report.json_file import as_json
from tests.builders.once import once
from tests.docs.markdown import ROOT
from tests.report.page.learnt_van import first_drive

CASES = [(0.0, True), (-0.12, True), (-0.12, False), (0.10, False), (-0.03, True)]
"""How much leaner the drive is made than it was, ln λ; whether the probe is proved."""


@once
def van(richer: float = 0.0) -> Job:
    return replace(basemap.load_job(ROOT / "sample_tables" / "ferry_van.toml"), richer_at_load=richer)


@once
def drives(leaner: float = 0.0) -> tuple[DriveLog, ...]:
    """The van's first drive, with another mixture."""
    return tuple(
        replace(log, chunks=replace(log.chunks, log_lambda=log.chunks.log_lambda + leaner))
        for log in first_drive().logs
    )


def table(found: Learnt) -> LearntTable:
    assert found.table is not None
    return found.table


def with_drives(job: Job, logs: tuple[DriveLog, ...], *, proved: bool) -> Job:
    return replace(job, drives=logs, probe_proved=proved)


@once
def adapted(richer: float = 0.0) -> Result:
    """The van's job before any drive."""
    return basemap.adapt(van(richer))


@once
def learnt_van(leaner: float = 0.0, *, proved: bool, richer: float = 0.0) -> Learnt:
    """What `learn` makes of the van's first drive."""
    return learn(adapted(richer), [], earlier=drives(leaner), proved=proved)


@once
def driven(leaner: float = 0.0, *, proved: bool, richer: float = 0.0) -> Result:
    """What `adapt` makes of the job with that drive."""
    return basemap.adapt(with_drives(van(richer), drives(leaner), proved=proved))


@pytest.mark.law
@pytest.mark.parametrize(
    ("leaner", "proved", "richer"), [*((*case, 0.0) for case in CASES), (0.0, True, 0.05), (-0.12, False, 0.05)]
)
def test_adapt_gives_what_learn_gave(leaner: float, proved: bool, richer: float) -> None:
    taught = table(learnt_van(leaner, proved=proved, richer=richer))
    result = driven(leaner, proved=proved, richer=richer)
    # Honest agreement: to the last bit; asked for is 1e-9.
    np.testing.assert_allclose(result.table.to_load, taught.new, rtol=1e-9)
    np.testing.assert_allclose(result.band.adapted, 2.0 * taught.standard_after, rtol=1e-9)
    assert (result.band.worst, result.band.shares) == (result.band.adapted[result.table.reachable].max(), ())


@pytest.mark.law
@pytest.mark.parametrize(("leaner", "proved"), CASES)
def test_what_is_expected_is_what_learn_leaves(leaner: float, proved: bool) -> None:
    """Nothing is left lean; what no log supports taking out stays in, and is expected rich."""
    taught = table(learnt_van(leaner, proved=proved))
    result = driven(leaner, proved=proved)
    expected = result.table.lambda_expected
    np.testing.assert_allclose(np.log(expected), taught.mean_after, atol=1e-12)
    assert expected.max() < 1.0 + 1e-9
    np.testing.assert_allclose(result.table.lambda_ratio["new_table_new_settings"], 1.0, rtol=1e-9)
    if not proved:
        assert (result.table.to_load >= adapted().table.to_load).all()


@pytest.mark.law
@pytest.mark.parametrize(("leaner", "proved"), CASES)
def test_a_correction_is_not_made_twice(leaner: float, proved: bool) -> None:
    """What was learnt and loaded, learnt from again without a new log, stays as it is."""
    result = adapted()
    once = table(learnt_van(leaner, proved=proved)).new
    again = learn(result, [], loaded=once, began=result.table.to_load, earlier=drives(leaner), proved=proved)
    np.testing.assert_allclose(table(again).new, once, rtol=1e-9)
    np.testing.assert_allclose(table(again).change_percent, 0.0, atol=1e-9)
    job = replace(with_drives(van(), drives(leaner), proved=proved), loaded=once)
    np.testing.assert_allclose(basemap.adapt(job).table.to_load, once, rtol=1e-9)


@pytest.mark.law
@pytest.mark.parametrize("leaner", [0.0, -0.12])
def test_two_logs_after_each_other_make_the_table_of_one_long_one(leaner: float) -> None:
    (whole,) = drives(leaner)
    rows = whole.chunks.rows()
    first, second = (
        replace(whole, sha256=name, key_on_pa=whole.key_on_pa if name == "a" else None, chunks=Chunks.of_rows(part))
        for name, part in (("a", rows[:14]), ("b", rows[14:]))
    )
    result = adapted()
    after_one = table(learn(result, [], earlier=(first,), proved=True)).new
    after_two = learn(result, [], loaded=after_one, began=result.table.to_load, earlier=(first, second), proved=True)
    np.testing.assert_allclose(table(after_two).new, table(learnt_van(leaner, proved=True)).new, rtol=1e-9)


@pytest.mark.law
def test_another_intended_lambda_is_carried_through() -> None:
    """Cells that hold no λ: 4 % less λ is 1 / 0.96 of the fuel that the drive showed to be needed, before rounding."""
    meant = van().target.table
    target = replace(van().target, table=replace(meant, intended_lambda=0.96 * meant.intended_lambda))
    less = basemap.adapt(with_drives(replace(van(), target=target), drives(), proved=True))
    fuel, richer = driven(proved=True).table.target.fuel_kg, less.table.target.fuel_kg
    # Honest agreement: 0.4 %, for what the dead time is believed to be off does not grow with the fuel.
    np.testing.assert_allclose(richer / fuel, 1.0 / 0.96, rtol=6e-3)
    assert less.table.lambda_expected.max() < 1.0 + 1e-9


@pytest.mark.law
def test_a_table_of_the_users_own_is_the_one_that_is_corrected() -> None:
    own = np.round(1.1 * adapted().table.to_load, 1)
    taught = table(learn(adapted(), [], loaded=own, earlier=drives(), proved=False))
    assert (taught.new >= own - 1e-9).all()
    job = replace(with_drives(van(), drives(), proved=False), begun_with=own, loaded=own)
    np.testing.assert_allclose(basemap.adapt(job).table.to_load, taught.new, rtol=1e-9)


def steady(result: Result, leaner: float) -> tuple[DriveLog, ...]:
    """A drive through every third cell that the engine reaches, its mixture off by as much everywhere."""
    table, shape = result.job.target.table, result.table.stored.shape
    where = np.flatnonzero(result.table.reachable & np.isfinite(result.table.pulse_s))[::3]

    def there(values: FloatArray | float) -> FloatArray:
        return np.broadcast_to(values, shape).ravel()[where].astype(np.float64)

    charge_k = result.job.target.hardware.conditions.charge_temperature_k
    points = DrivePoints(
        there(table.rpm), there(table.pressure_pa), there(charge_k), there(table.battery_v), there(result.table.pulse_s)
    )
    log_lambda = np.log(there(table.intended_lambda)) + leaner
    alike = np.ones(where.size)
    chunks = Chunks(2.0 * np.cumsum(alike), 1.6 * alike, points, log_lambda, 2e-4 * alike, np.nan * alike)
    return (DriveLog("invented.csv", "", chunks),)


@pytest.mark.law
@pytest.mark.parametrize(
    ("sample", "leaner", "proved"),
    [
        ("harbour_launch", -0.08, True),
        ("hill_climb", 0.06, False),
        ("orchard_new_box", 0.06, True),
        ("orchard_pickup", -0.08, True),
        ("rebored_spare", 0.06, False),
        ("wrong_engine", -0.08, True),
    ],
)
def test_it_does_so_whatever_the_cells_are(sample: str, leaner: float, proved: bool) -> None:
    """Pulses and efficiencies, another quantity than the donor's, axes in other units, boost."""
    job = basemap.load_job(ROOT / "sample_tables" / f"{sample}.toml")
    before = basemap.adapt(job)
    logs = steady(before, leaner)
    taught = table(learn(before, [], earlier=logs, proved=proved))
    result = basemap.adapt(with_drives(job, logs, proved=proved))
    # Honest agreement: to the last bit; asked for is 1e-9.
    np.testing.assert_allclose(result.table.to_load, taught.new, rtol=1e-9)
    proven = (result if proved else basemap.adapt(with_drives(job, logs, proved=True))).table.taught
    assert proven is not None
    factor = np.log(proven.factor)
    # A mixture that is off by as much everywhere: most of it becomes fuel, and in its direction.
    assert (0.4 * abs(leaner) < factor * np.sign(leaner)).all()
    assert (factor * np.sign(leaner) < 1.3 * abs(leaner)).all()


def test_how_far_to_go_is_judged_by_what_the_drive_left() -> None:
    before, after = adapted(0.01), driven(proved=True, richer=0.01)
    assert before.how_far is HowFar.LIGHT
    assert after.how_far is HowFar.LOAD
    assert after.band.worst < before.band.worst
    taught = table(learnt_van(proved=True, richer=0.01)).lean_at_load
    assert taught is not None
    assert after.band.lean_at_load is not None
    # What is loaded is 1 % richer at load than the table that is judged; rounding is worth 0.1 %.
    assert taught.ratio * 1.01 == pytest.approx(after.band.lean_at_load.ratio, abs=2e-3)
    said = {one.kind: one.text for one in brief(after)}
    assert said[Topic.HOW_SURE].endswith(", after 41 s of steady driving (1 log)")
    assert said[Topic.MEASURE] == "log another drive"


@pytest.mark.law
def test_wherever_it_is_leanest_at_load_it_may_be_leaner_than_any_one_cell() -> None:
    """Cells that do not vary alike: the leanest of them lies between the leanest single end and their sum's."""
    result = driven(proved=True)
    ends = np.log(result.table.expected_extremes[0]) + result.band.adapted
    at_load = np.broadcast_to(result.job.target.table.pressure_pa >= 0.8 * 101_325.0, ends.shape)
    single = ends[at_load & result.table.reachable].max()
    assert result.band.lean_at_load is not None
    assert single < np.log(result.band.lean_at_load.ratio) < 1.5 * single


@pytest.mark.law
def test_the_card_expects_the_fuel_that_is_left_in_at_idle() -> None:
    """Too much fuel that an unproved probe may not take out is still there when the engine idles."""
    rich, lean = driven(-0.25, proved=False), driven(proved=False)
    left = table(learnt_van(-0.25, proved=False)).mean_after[3:4, 1:3]  # 35 kPa, 800 to 1000 rpm
    expected = idle_point(rich).predicted_lambda / idle_point(rich).intended_lambda
    # Honest agreement: it lies between the two; 1e-3 is allowed, for the cells are stored to 0.1 %.
    assert np.exp(left.min()) - 1e-3 < expected < np.exp(left.max()) + 1e-3 < 0.93
    # Honest agreement: 4e-4, for the cell is stored to 0.1 %.
    assert idle_point(lean).predicted_lambda / idle_point(lean).intended_lambda == pytest.approx(1.0, abs=1e-3)


def test_what_was_crossed_holds_the_table_back_until_it_is_accepted() -> None:
    job = replace(with_drives(van(), drives(), proved=True), crossed=("charging-voltage-high",))
    result = basemap.adapt(job)
    assert result.verdict is Verdict.REFUSE
    (stop,) = result.stops
    assert (stop.rule, stop.message) == (
        "held-after-drives",
        "The drives hold the new table back: charging-voltage-high, crossed in the last drive.",
    )
    assert basemap.adapt(job, accept=["held-after-drives"]).verdict is Verdict.ADAPT


@pytest.mark.parametrize(
    ("leaner", "proved", "name"),
    [(0.20, False, "large-change"), (-0.15, True, "leaner-at-load")],
)
def test_a_large_change_has_to_be_accepted_unless_it_is_loaded_already(leaner: float, proved: bool, name: str) -> None:
    job = with_drives(van(), drives(leaner), proved=proved)
    result = driven(leaner, proved=proved)
    assert result.table.taught is not None
    assert name in [hold.name for hold in result.table.taught.holds]
    assert name in [hold.name for hold in learnt_van(leaner, proved=proved).holds]
    assert result.verdict is Verdict.REFUSE
    assert basemap.adapt(replace(job, loaded=result.table.to_load)).verdict is Verdict.ADAPT


@pytest.mark.law
def test_a_large_change_is_not_said_to_be_smaller_than_it_is() -> None:
    """15.04 % more and 5.04 % less stand just beyond 15 and 5 %: shown to the nearest per cent they would not."""
    at_load = np.array([[False, True]])
    assert large_changes(np.array([[15.04, -5.04]]), at_load) == {
        "large-change": "a cell changes by 15.1 %, more than 15 %",
        "leaner-at-load": "a cell at load gets 5.1 % less fuel",
    }


def test_a_probe_that_is_not_proved_is_said() -> None:
    result = driven(proved=False)
    (found,) = [one for one in result.findings if one.rule == "held-after-drives"]
    assert found.message == (
        "The wideband is not proved at two points. No log can show a wrong scale, so no cell gets less fuel than "
        "before the first drive, and the band allows for one that is 10 % off (k = 2)."
    )


@pytest.mark.law
def test_a_probe_that_is_not_proved_widens_the_band_by_what_a_wrong_scale_would_make_of_it() -> None:
    """5 % (our judgement) of how far each cell's mixture follows all readings, here seen by moving them."""
    proved, not_proved = (table(learnt_van(proved=each)) for each in (True, False))
    moved = table(learnt_van(0.01, proved=True)).mean_before - table(learnt_van(-0.01, proved=True)).mean_before
    expected = np.hypot(proved.standard_after, 0.05 * moved / 0.02)
    # Honest agreement: 1e-3, for a short pulse is not linear in its dead time.
    np.testing.assert_allclose(not_proved.standard_after, expected, rtol=5e-3)


def test_a_probe_that_is_not_proved_lets_nobody_go_to_load() -> None:
    assert driven(proved=True, richer=0.01).how_far is HowFar.LOAD
    assert driven(proved=False, richer=0.01).how_far is HowFar.LIGHT


@pytest.mark.law
def test_explain_shows_the_factor_as_a_step_of_its_own() -> None:
    result = driven(proved=True)
    plain = adapted()
    assert result.table.taught is not None
    row, column = 9, 7
    steps = {one.symbol: one.value for one in worked_cell(result, row, column)}
    before = {one.symbol: one.value for one in worked_cell(plain, row, column)}
    assert steps["d"] == result.table.taught.factor[row, column]
    assert steps["m_air,t"] == pytest.approx(before["m_air,t"] * steps["d"], rel=1e-12)
    assert "d" not in before


def test_the_json_has_the_factor_as_its_own_key() -> None:
    result = driven(proved=True)
    assert result.table.taught is not None
    written = as_json(result)["tables"]["fuel"]
    assert written["learnt_factor"] == result.table.taught.factor.tolist()
    assert as_json(adapted())["tables"]["fuel"]["learnt_factor"] is None


def test_draws_do_not_go_with_drives() -> None:
    with pytest.raises(InputError) as caught:
        basemap.adapt(with_drives(van(), drives(), proved=True), drawing=Drawing(1000))
    assert str(caught.value) == (
        "--samples: the band after drives follows from the drives, not from random samples: leave it out"
    )


def test_a_throttle_axis_cannot_be_learnt_for() -> None:
    buggy = basemap.load_job(ROOT / "sample_tables" / "reed_bank_buggy.toml")
    with pytest.raises(InputError) as caught:
        basemap.check(replace(buggy, drives=drives()))
    assert "learn compares a log over manifold pressure or pressure ratio" in str(caught.value)


def test_drives_that_this_job_has_no_fuel_for_are_refused() -> None:
    (log,) = drives()
    shut = replace(
        log.chunks.points, pulse_s=np.where(np.arange(log.chunks.size) < 2, 0.3e-3, log.chunks.points.pulse_s)
    )
    logs = (replace(log, chunks=replace(log.chunks, points=shut)),)
    message = (
        "learnt.logs: by this job 2 steady stretches of the drives would have had no fuel, although the engine ran: "
        "the injectors, their dead time or the fuel pressure are not those of the drives; correct what was changed, or "
        "leave out the section [learnt]"
    )
    with pytest.raises(InputError) as caught:
        basemap.adapt(with_drives(van(), logs, proved=True))
    assert str(caught.value) == message
    with pytest.raises(InputError) as caught:
        learn(adapted(), [], earlier=logs, proved=True)
    assert str(caught.value) == message


def test_a_cell_of_which_nothing_can_be_said_is_as_lean_as_can_be() -> None:
    """A table of the user's own whose cell at load holds nothing: that nobody knows its error is no error of nought."""
    own = adapted().table.to_load.copy()
    row, column = 15, 7
    own[row, column] = 0.0
    result = basemap.adapt(replace(with_drives(van(), drives(), proved=True), begun_with=own))
    assert np.isinf(result.table.lambda_expected[row, column])
    assert np.isinf(result.band.adapted[row, column])
    assert result.band.lean_at_load is not None
    assert (result.band.lean_at_load.ratio, result.band.lean_at_load.cell) == (np.inf, (row, column))
    assert result.verdict is Verdict.REFUSE
    taught = table(learn(adapted(), [], loaded=own, earlier=drives(), proved=True))
    assert taught.lean_at_load is not None
    assert np.isinf(taught.lean_at_load.ratio)
