"""The band of a further table of pulses: by hand, by the `uncertainties` package, and by laws."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, cast

import numpy as np
import pytest
from uncertainties import ufloat, umath

from basemap.adaptation.further_tables import run_of
from basemap.adaptation.pipeline import compute
from basemap.belief.further import further_bands
from basemap.belief.inputs import uncertain_inputs
from basemap.belief.monte_carlo import Drawing
from basemap.model.further_table import FurtherBand
from basemap.model.job import Job
from tests.builders.round_numbers import CRANK, CRANK_CSV, TARGET_RAIL, job_with

ONE_FUEL = (TARGET_RAIL, TARGET_RAIL.replace("9.8", "14.7"))
ADDED = ("ecu_applies = []", 'ecu_applies = ["dead time"]')
MEASURED = ('battery = "8.5 V"', 'battery = "8.5 V ± 0.2 V"')
"""The voltage while it cranked was logged: the pulses are then sure enough for the first order."""


def band_of(job: Job, name: str = "crank") -> FurtherBand:
    return further_bands(compute(job))[name]


@pytest.mark.check_value
def test_the_budget_of_a_cranking_pulse_by_hand(tmp_path: Path) -> None:
    """All spreads are the defaults, of an unknown donor. The arithmetic is JCGM 100, equation 12, in per cent.

    At 20 degC the donor's 9.0 ms deliver for 6.6, the target's 2.8 + 0.6 · 6.6 = 6.76 for 3.96 ms. Both dead times fall
    by 0.4 ms a volt at 8.5 V, so ±0.2 V are ±0.08 ms. Efficiency 10 %; a = 5 and 3 % of flow; 1 % of rated pressure
    and of each side's own rating fluid, 3 % of rail and 2 % of density count half; 0.7 % of ratio, 0.5 % of volume,
    each of them twice; u = a/√3. Another engine breathes within 8 and 7.5 % at its barometer:
    100 + 8² + 7.5² + (25 + 9 + 2 · (0.25 + 2.25 + 1 + 0.49 + 0.25))/3 + (0.05² + 0.08²)/3 · 1e4 ·
    (1/6.6² + 1/3.96²) = 237.150.
    """
    band = band_of(job_with(tmp_path, CRANK, ONE_FUEL, MEASURED, crank=CRANK_CSV))
    squares = 100 + 8**2 + 7.5**2 + (25 + 9 + 2 * (0.25 + 0.25 + 2.25 + 1 + 0.49 + 0.25)) / 3
    squares += (0.05**2 + 0.08**2) / 3 * 1e4 * (1 / 6.6**2 + 1 / 3.96**2)
    assert squares == pytest.approx(237.150, abs=0.0005)
    assert 100 * band.expanded[1] == pytest.approx(2 * math.sqrt(squares), rel=1e-6)
    by_name = dict(zip(band.inputs, band.shares[:, 1], strict=True))
    assert by_name["battery voltage of the target"] == pytest.approx(0.08**2 / 3 * 1e4 / 3.96**2 / squares, rel=1e-6)
    assert by_name["injector flow of the donor"] == pytest.approx(25 / 3 / squares, rel=1e-6)
    assert band.shares.sum(axis=0) == pytest.approx(1.0, rel=1e-12)
    assert not band.simulated.any()


def uncertain_ratio(job: Job, cell: float, new: float) -> Any:
    """λ on the target over the donor's for a pulse in ms, of numbers that carry their own derivatives.

    Independent of the model: flow by the square roots, dead time on the line from 8 to 10 V, air as the pulse tells.
    """
    run = run_of(job, job.further_tables[0]).job
    off = {entry.name: cast(Any, ufloat(0.0, entry.standard)) for entry in uncertain_inputs(run)}  # type: ignore[no-untyped-call]
    inside = job.further_tables[0].donor.inside.dead_time
    values = {
        "donor": (2000.0, 4.0, 14.7, 2.6, run.donor.hardware.fuel.rail_pressure_pa),
        "target": (2400.0, 8.0, 9.8, 3.0, run.target.hardware.fuel.rail_pressure_pa),
    }

    def side(name: str, pulse: float) -> Any:
        volume, flow, ratio, at_8, rail = values[name]

        def one(what: str) -> Any:
            return 1.0 + off.get(f"{what} of the {name}", off.get(f"{what} of both", 0.0))

        true = at_8 - 0.4 * (0.5 + off[f"battery voltage of the {name}"])
        told = 0.0 if inside else at_8 - 0.4 * 0.5  # the ECU reads 8.5 V, and holds the nominal curve
        per_bar = off.get(f"dead time at its rail pressure of the {name}", 0.0)
        dead = true + 1e3 * (off[f"dead time of the {name}"] + per_bar * (rail - 3e5) / 1e5)
        across = rail * one("rail pressure") / (3e5 * one("rated pressure"))
        density = one("density of the petrol") / one("density of the rating fluid")
        mass = flow * one("injector flow") * umath.sqrt(across * density)  # type: ignore[attr-defined]
        discharge = off["discharge coefficient with a fuel of another family"] if name == "target" else 0.0
        fuel = mass * (1.0 + discharge) * (pulse + told - dead)
        return ratio * one("stoichiometric ratio of the petrol") * fuel, volume * one("displacement")

    air, donor_volume = side("donor", cell)
    burnt, volume = side("target", new)
    efficiency = 1.0 + off["volumetric efficiency of the donor"]
    vapour = 1.0 + off["air drawn with a fuel of another family"]
    breathing = 1.0 + math.hypot(0.08, 0.075) * off["breathing of the target (another engine)"]
    return air * volume / donor_volume * efficiency * vapour * breathing / burnt


@pytest.mark.check_value
@pytest.mark.parametrize("added", [False, True])
@pytest.mark.parametrize("rails", [("", ""), ("2.0 bar ± 10 %", ""), ("", "2.4 bar ± 0.2 bar"), ("2.0 bar", "2.4 bar")])
def test_first_order_is_what_the_uncertainties_package_finds(
    tmp_path: Path, rails: tuple[str, str], added: bool
) -> None:
    """`uncertainties` (registry) on arithmetic of its own; 1e-6 relative, of which 1e-8 is the difference's cut-off."""
    tables = CRANK + (f'rail_pressure = "{rails[0]}"\n' if rails[0] else "")
    tables += f'[target.tables.crank]\nrail_pressure = "{rails[1]}"\n' if rails[1] else ""
    tables += "[donor.settings]\nsame_as_hardware = true\n"  # a page that was not read is no part of this sum
    job = job_with(tmp_path, tables, MEASURED, *([ADDED] if added else []), crank=CRANK_CSV)
    (found,) = compute(job).further_tables
    band = band_of(job)
    assert not band.simulated.any()
    for cell, new, expanded in zip(found.old, found.new, band.expanded, strict=True):
        ratio = uncertain_ratio(job, float(cell), float(new))
        assert ratio.n == pytest.approx(1.0, rel=1e-9)
        assert expanded == pytest.approx(2.0 * ratio.s, rel=1e-6)


@pytest.mark.law
@pytest.mark.parametrize(
    ("stated", "own", "half_widths"),
    [
        ("8.5 V ± 0.5 V", "", (0.5, 0.5)),
        ("8.5 V ± 0.5 V", 'battery = "10 V ± 0.3 V"', (0.5, 0.3)),
        ("8.5 V", "", (1.5, 1.5)),
        ("8.5 V", 'battery = "10 V"', (1.5, 1.5)),
        ("8.5 V", 'battery = "11 V"', (1.5, 1.5)),
        ("8.5 V", 'battery = "11.1 V"', (1.5, 0.2)),
        ("8.5 V", 'ecu_applies = ["dead time"]', (1.5, 0.2)),
    ],
)
def test_a_voltage_while_it_cranks_has_its_own_spread(
    tmp_path: Path, stated: str, own: str, half_widths: tuple[float, float]
) -> None:
    """The target takes over the donor's voltage, spread and all; the charging voltage is another matter.

    Where none is stated, a starter pulls 8 to 11 V, ±1.5 V (common practice, no source), unless the ECU reads them.
    """
    tables = CRANK.replace("8.5 V", stated) + f"[target.tables.crank]\n{own}\n"
    job = job_with(tmp_path, tables, ('battery = "13.8 V"', 'battery = "13.8 V ± 0.01 V"'), crank=CRANK_CSV)
    found = {entry.name: entry.standard for entry in uncertain_inputs(run_of(job, job.further_tables[0]).job)}
    for side, half_width in zip(("donor", "target"), half_widths, strict=True):
        assert found[f"battery voltage of the {side}"] == pytest.approx(half_width / math.sqrt(3), rel=1e-12)
    main = {entry.name: entry.standard for entry in uncertain_inputs(job)}
    assert main["battery voltage of the target"] == pytest.approx(0.01 / math.sqrt(3), rel=1e-12)


@pytest.mark.check_value
@pytest.mark.parametrize(
    ("name", "volts", "half_width"), [("crank", 9.5, 1.5), ("Start_up", 9.5, 1.5), ("prime", 13.8, 0.2)]
)
def test_a_cranking_table_that_says_no_voltage(tmp_path: Path, name: str, volts: float, half_width: float) -> None:
    """Common practice, no source: a starter pulls the battery down to 8 to 11 V. Dead times at 9.5 V from 2.6 and 1.8
    ms, 3.0 and 2.2 ms at 8 and 10 V: 2.0 and 2.4 ms, so 9 ms become 2.4 + 0.6 · 7.0; at 13.8 V 1.04 and 1.25 ms."""
    tables = CRANK.replace("tables.crank", f"tables.{name}").replace('battery = "8.5 V"\n', "")
    job = job_with(tmp_path, tables, ONE_FUEL, crank=CRANK_CSV)
    (table,) = job.further_tables
    assert (table.donor.battery_v, table.target.battery_v) == (volts, volts)
    dead = {9.5: (2.0, 2.4), 13.8: (1.04, 1.25)}[volts]
    assert compute(job).further_tables[0].new[1] == pytest.approx(dead[1] + 0.6 * (9.0 - dead[0]), rel=1e-9)
    found = {entry.name: entry for entry in uncertain_inputs(run_of(job, table).job)}
    for side in ("donor", "target"):
        assert found[f"battery voltage of the {side}"].standard == pytest.approx(half_width / math.sqrt(3), rel=1e-12)
        assert found[f"battery voltage of the {side}"].assumed


@pytest.mark.law
def test_a_table_over_load_has_the_band_of_its_pulses(tmp_path: Path) -> None:
    """At the barometer a cell over speed and load is the same pulse, found by pressures that are read: 1.5 kPa each."""
    over_load = CRANK.replace(
        'axis = "coolant temperature"\naxis_unit = "degC"', 'load = "manifold pressure"\nload_unit = "kPa"'
    )
    grid = "kPa,200,1400\n50,9.00,6.40\n100,9.00,6.40\n"
    # To first order: more cells take other draws.
    one = band_of(job_with(tmp_path, CRANK, MEASURED, crank=CRANK_CSV)).expanded
    two = band_of(job_with(tmp_path, over_load, MEASURED, crank=grid)).expanded
    assert two.shape == (2, 2)
    assert two[1] == pytest.approx(np.hypot(one[1:], 0.015 * math.sqrt(2.0)), rel=1e-9)


@pytest.mark.law
def test_what_delivers_nothing_has_no_band(tmp_path: Path) -> None:
    band = band_of(job_with(tmp_path, CRANK, crank="degC,ms\n-20,18.40\n20,2.00\n80,0.00\n"))
    assert np.isfinite(band.expanded).tolist() == [True, False, False]


@pytest.mark.law
def test_where_little_of_the_pulse_delivers_worlds_are_drawn(tmp_path: Path) -> None:
    """Of 2.8 ms the donor's 2.4 deliver nothing: 0.46 ms of a volt's error are a tenth of the rest and more."""
    short = "degC,ms\n20,9.00\n80,2.80\n"
    job = job_with(tmp_path, CRANK, crank=short)
    band = band_of(job)
    assert band.simulated.tolist() == [False, True]
    assert band.expanded[1] > 2 * band.expanded[0]
    drawn = further_bands(compute(job), Drawing(20_000, 7))["crank"]
    assert drawn.simulated.all()
    assert drawn.expanded[0] == pytest.approx(band.expanded[0], rel=0.1)


@pytest.mark.law
def test_only_pulses_have_a_band(tmp_path: Path) -> None:
    percent = CRANK.replace('"pulse width"\necu_applies = []', '"percent"').replace('battery = "8.5 V"\n', "")
    job = job_with(tmp_path, percent, crank="degC,%\n-20,160\n20,120\n80,100\n")
    assert further_bands(compute(job)) == {}
