"""Rules on a table over throttle opening, on both sides of each threshold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest

from basemap.model.finding import Severity
from tests.builders.computed import found, make_computed
from tests.builders.over_throttle import DONOR, OF_TARGET, OPENINGS, RPM, computed, opening_ms, target, to
from tests.reference.throttle_simulator import Simulated


@dataclass(frozen=True)
class Restricted(Simulated):
    """An engine whose wide-open throttle passes 0.8 of what its bore would."""

    def effective_area_m2(self, opening: float) -> float:
        return 0.80 * self.bore_area_m2


# The estimate against scipy's brentq on the balance of the manifold: 0.9768 for 0.9764.
@pytest.mark.check_value
@pytest.mark.parametrize(("bore_mm", "trips"), [(60.0, False), (48.0, True)])
def test_a_small_throttle_is_a_caution(bore_mm: float, trips: bool, tmp_path: Path) -> None:
    engine = target(1.998, bore_mm)
    small = [one for one in found(computed(tmp_path, to(engine)), "small-throttle") if one.limit == 0.98]
    same = engine.simulated
    simulated = Restricted(same.litres, 4, 1, bore_mm, same.temperature_k, same.barometer_pa)
    ratio = simulated.manifold_pa(1.0, 6800.0) / same.barometer_pa
    assert (ratio < 0.98) is trips
    if not trips:
        assert small == []
        return
    assert [(one.severity, one.limit) for one in small] == [(Severity.CAUTION, 0.98)]
    # The rule takes the air of the wide-open row, of a donor whose own manifold stood at 0.992 of the barometer.
    assert small[0].value == pytest.approx(ratio, abs=1e-3)
    assert small[0].message.startswith("Wide open at 6800 rpm, the target's throttle is estimated to keep its manifold")


@pytest.mark.parametrize(
    ("litres", "value"), [(1.998 * 1.399, None), (1.998 * 1.41, 1.41), (1.998 * 0.501, None), (1.998 * 0.49, 0.49)]
)
def test_displacement_for_bore_area(litres: float, value: float | None, tmp_path: Path) -> None:
    every = found(computed(tmp_path, to(target(litres))), "small-throttle")
    small = [one for one in every if "bore area" in one.message]
    assert [one.value for one in small] == ([] if value is None else [pytest.approx(value, rel=1e-9)])
    if value == 1.41:
        assert small[0].message == (
            "The target has 1.410 times the donor's displacement for its bore area (caution outside 0.5 to 1.4): part "
            "load carries over less accurately, and errs rich."
        )
    if value == 0.49:
        assert small[0].message.endswith("errs lean.")


def test_nearly_shut_is_a_caution_where_the_engine_idles_and_a_note_elsewhere(tmp_path: Path) -> None:
    at_idle = found(computed(tmp_path), "nearly-shut-throttle")
    assert [(one.severity, len(one.cells)) for one in at_idle] == [(Severity.CAUTION, 22)]
    # An idle at 60 kPa and 800 rpm lies between 5 and 10 %.
    above = found(computed(tmp_path, (OF_TARGET, OF_TARGET + 'idle = "800 rpm @ 60 kPa"\n')), "nearly-shut-throttle")
    assert [one.severity for one in above] == [Severity.NOTE]
    wide = found(
        computed(tmp_path, append="[target.tables.fuel]\nload_points = [3, 10, 40, 100]\n"), "nearly-shut-throttle"
    )
    assert wide == []
    below = found(
        computed(tmp_path, append="[target.tables.fuel]\nload_points = [2.99, 10, 40, 100]\n"), "nearly-shut-throttle"
    )
    assert len(below) == 1


def test_none_of_them_speaks_of_another_axis() -> None:
    other = make_computed()
    for rule in ("throttle-layout", "small-throttle", "nearly-shut-throttle"):
        assert found(other, rule) == []


# What counts as at load goes by the manifold, not by the opening: at 800 rpm 15 % is all but wide open, at 6800 rpm a
# third of that. Pressures of the simulated engines, of which either must be at 0.8 of the barometer.
@pytest.mark.check_value
def test_at_load_goes_by_the_manifold(tmp_path: Path) -> None:
    from basemap.rules.case import Case

    at_load = Case(computed(tmp_path)).at_load
    ratios = [engine.tables(OPENINGS / 100.0, RPM)[1] for engine in (DONOR, target(2.393).simulated)]
    either = np.maximum(*ratios)
    clear = np.abs(either - 0.8) > 0.015  # the accuracy of the transfer
    np.testing.assert_array_equal(at_load[clear], (either >= 0.8)[clear])
    assert at_load[4].tolist() != at_load[8].tolist()


def test_a_lean_cell_at_part_opening_and_low_speed_is_judged_as_at_load(tmp_path: Path) -> None:
    cells = opening_ms(DONOR)
    loaded = found(computed(tmp_path, cells=cells), "lean-at-load")
    (untouched,) = [finding for finding in loaded if finding.message.startswith("If loaded as it is")]
    assert (5, 0) in untouched.cells
    assert (5, 10) not in untouched.cells


@pytest.mark.law
def test_a_saturated_donor_is_known_below_the_pressures_of_its_cells(tmp_path: Path) -> None:
    from basemap.rules.case import Case
    from basemap.rules.donor import _known_below

    case = Case(computed(tmp_path))
    past = np.zeros((OPENINGS.size, RPM.size), dtype=bool)
    past[9:, 10] = True
    load_pa, rpm = _known_below(case, past)
    pressure = case.job.target.table.pressure_pa
    assert load_pa is not None
    assert load_pa < pressure[past].min()
    assert not (case.reachable & ~past & (pressure > load_pa) & (pressure < pressure[past].min())).any()
    assert rpm == RPM[9]
    assert replace(case).by_throttle
