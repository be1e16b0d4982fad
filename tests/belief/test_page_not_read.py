"""A settings page that nobody read: assumed, with a spread, and said so wherever its number is used."""

from __future__ import annotations

import json

import numpy as np
import pytest

from basemap.adaptation.pipeline import adapt
from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import DEFAULTS, SPREADS
from basemap.jobfile.quantities import parse_quantity
from basemap.model.job import Job
from basemap.report.cell_in_words import as_json as cell_as_json
from basemap.report.cell_in_words import cell_at
from basemap.report.json_file import as_json
from tests.builders.files import assumed, refusal, with_lines

PAGE = "\n[donor.settings]\n"
KEYS = {"displacement", "static_flow", "stoichiometric", "dead_time"}


def not_read(job: Job) -> set[str]:
    return {key.removeprefix("donor.settings.") for key in assumed(job)} & KEYS


@pytest.mark.law
@pytest.mark.parametrize(
    ("page", "expected"),
    [
        ("", KEYS),
        (PAGE, KEYS),
        (PAGE + 'static_flow = "280 cc/min"\n', KEYS - {"static_flow"}),
        (PAGE + "same_as_hardware = true\n", set()),
        (PAGE + "same_as_hardware = false\n", KEYS),
    ],
)
def test_what_is_not_stated_is_assumed(page: str, expected: set[str]) -> None:
    assert not_read(with_lines(append=page)) == expected


@pytest.mark.check_value
def test_the_band_follows_from_the_spreads() -> None:
    """By hand: a rectangle of 10 % has u = 5.774 %, of 2 % 1.155 %, of 3 % 1.732 %; all at k = 2: 12.27 %.

    The dead time adds to that, so a job that states it is looked at.
    """
    told = (
        '\n[donor.settings.dead_time]\nbattery = ["10 V", "12 V", "14 V"]\ntime = ["1.75 ms", "1.20 ms", "0.85 ms"]\n'
    )
    bands = [adapt(with_lines(append=page)).band.adapted for page in (told, PAGE + "same_as_hardware = true\n" + told)]
    added = np.sqrt(bands[0] ** 2 - bands[1] ** 2)
    by_hand = 2.0 * np.sqrt((0.10**2 + 0.02**2 + 0.03**2) / 3.0)
    assert by_hand == pytest.approx(0.1227, abs=5e-5)
    np.testing.assert_allclose(added[-1], by_hand, rtol=0.01)  # a dead time of both, where it is drawn, is not linear


@pytest.mark.law
def test_a_page_that_says_otherwise_moves_the_mixture_by_as_much() -> None:
    """The page says 200 where 280 was fitted: what is entered on the basis of 280 is 280/200 of what it should be."""
    read = adapt(with_lines(append=PAGE + 'static_flow = "200 cc/min"\n'))
    taken = adapt(with_lines())
    flows = [next(one.enter for one in result.settings if one.name == "static_flow") for result in (read, taken)]
    assert isinstance(flows[0], float)
    assert isinstance(flows[1], float)
    assert flows[1] / flows[0] == pytest.approx(280 / 200, rel=1e-12)


@pytest.mark.law
def test_the_entry_says_what_it_rests_on() -> None:
    rows = {one.name: one for one in adapt(with_lines()).settings}
    assert rows["static_flow"].old_assumed
    assert rows["static_flow"].basis.endswith(
        "; donor's entry ASSUMED, as the donor's injectors ± 10 %: read its settings page"
    )
    # The dead time to enter is absolute: it rests on nothing of the donor's.
    assert rows["dead_time"].old_assumed
    assert "ASSUMED" not in rows["dead_time"].basis
    stated = {one.name: one for one in adapt(with_lines(append=PAGE + "same_as_hardware = true\n")).settings}
    assert not any(one.old_assumed for one in stated.values())
    content = json.loads(json.dumps(as_json(adapt(with_lines()))))
    assert [one["old_assumed"] for one in content["settings"] if one["name"] == "displacement"] == [True]


@pytest.mark.law
def test_explain_does_not_call_it_declared() -> None:
    result = adapt(with_lines())
    cell = cell_at(result, float(result.job.rpm[0]), float(result.job.target.shown.load[0]))
    origins = {
        step["symbol"]: step["origin"]
        for step in cell_as_json(result, cell)["steps"]
        if step["stage"].startswith("Donor")
    }
    assert {origins[symbol] for symbol in ("V_set", "L_set", "ṁ_set", "τ_set")} == {"assumed"}


@pytest.mark.law
def test_words_and_numbers_of_the_spreads_agree() -> None:
    for name, words in (
        ("told displacement", "displacement"),
        ("told flow", "flow"),
        ("told ratio", "stoichiometric ratio"),
        ("told dead time", "dead time"),
    ):
        stated = DEFAULTS[name].half_width
        assert stated is not None
        spread = SPREADS[f"{words} on a page not read"]
        kind = Kind.PERCENT if spread.relative else Kind.TIME
        value = parse_quantity(stated, kind, file=None, place=None)
        assert value.value / (100.0 if spread.relative and value.value > 1 else 1.0) == pytest.approx(spread.half_width)


def test_it_says_something_of_the_donor_only() -> None:
    assert refusal(append="\n[target.settings]\nsame_as_hardware = true\n") == (
        "job.toml: target.settings.same_as_hardware: describes the donor's settings page: it belongs in "
        "[donor.settings]"
    )
