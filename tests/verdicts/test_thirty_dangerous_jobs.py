"""Thirty jobs that would hurt an engine: each is stopped, or its danger is named among the first 25 lines. Invented."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from basemap.adaptation.pipeline import check
from basemap.jobfile.load import build_job
from basemap.model.finding import HowFar, Verdict
from basemap.model.result import Result
from basemap.report.terminal import result as terminal
from tests.report.test_terminal import page, printed

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
SPARE = (SAMPLES / "rebored_spare.toml").read_text(encoding="utf-8")
FIRST_LINES = 25


@dataclass(frozen=True)
class Danger:
    """One job: what is changed of the rebored spare on its own map, and the words that must be seen."""

    name: str
    changes: dict[str, Any]
    seen: str


def own(side: str = "target") -> dict[str, Any]:
    """The target's injectors and fuel written out, so that they can differ."""
    return {
        "target__same_as_donor": ["fuel"],
        f"{side}__injectors__static_flow": "280 cc/min",
        "target__injectors__rated_pressure": "3.0 bar",
        "target__injectors__dead_time": {
            "battery": ["8 V", "10 V", "12 V", "14 V", "16 V"],
            "time": ["2.60 ms", "1.75 ms", "1.20 ms", "0.85 ms", "0.65 ms"],
        },
    }


def fuel(**changes: Any) -> dict[str, Any]:
    """The target's fuel written out."""
    whole = {"blend": "E5", "octane": 95, "rail_pressure": "3.0 bar", "regulator": "manifold", **changes}
    return {"target__same_as_donor": ["injectors"], "target__fuel": whole}


BETTER = {
    "target__engine__likeness": "another engine",
    "donor__engine__peak_torque": "170 Nm @ 4500 rpm",
    "target__engine__rated_power": "128 kW @ 6200 rpm",
    "target__engine__peak_torque": "230 Nm @ 4500 rpm",
}

DANGERS = (
    Danger("lean by another scale of the pressure sensor", {
        "donor__sensors__map": {"kind": "pressure", "volts": ["0.5 V", "4.5 V"], "value": ["20 kPa", "105 kPa"]},
        "target__sensors__map": {"kind": "pressure", "volts": ["0.4 V", "4.65 V"], "value": ["20 kPa", "250 kPa"]},
    }, "map-scale|pressure sensor|manifold pressure"),
    Danger("lean by another scale of the wideband", {
        "donor__sensors__wideband": {"kind": "lambda", "volts": ["0 V", "5 V"], "value": ["0.68", "1.36"]},
        "target__sensors__wideband": {"kind": "lambda", "volts": ["0 V", "5 V"], "value": ["0.50", "1.50"]},
    }, r"sensor\s+scales"),
    Danger("lean by alcohol", fuel(blend="E85"), "lean"),
    Danger("lean by methanol", fuel(blend="M100"), "lean"),
    Danger(
        "lean by a ratio that the controller cannot be told",
        {**fuel(blend="E85"), "target__settings__cannot_be_told": ["stoichiometric"]},
        "lean",
    ),
    Danger("lean by smaller injectors", {**own(), "target__injectors__static_flow": "220 cc/min"}, "lean"),
    Danger("lean by injectors that are open throughout", {
        **own(), "target__injectors__static_flow": "150 cc/min",
    }, "STOP"),
    Danger("lean by one injector for two cylinders", {**own(), "target__injectors__per_cylinder": 0.5}, "STOP|lean"),
    Danger("lean by half of the base pressure", fuel(rail_pressure="1.5 bar"), "lean"),
    Danger("lean by a third of the base pressure", fuel(rail_pressure="2.0 bar"), "lean"),
    Danger("lean by a fixed rail", fuel(regulator="fixed"), "lean|rail"),
    Danger("injectors beyond their pressure", {
        **fuel(rail_pressure="6.0 bar"), "donor__injectors__highest_pressure": "4 bar",
    }, "STOP"),
    Danger("a donor from a mountain", {
        "donor__conditions__altitude": "2500 m", "target__conditions__altitude": "0 m",
    }, "load|Residual|residual|visited|data"),
    Danger("lean by cold air that nothing corrects", {
        "donor__settings__corrects_charge_temperature": False,
        "donor__conditions__charge_temperature": "60 degC",
        "target__conditions__charge_temperature": "0 degC",
    }, "lean"),
    Danger("a target that breathes better, both figures known", BETTER, "richer|breathes|lean"),
    Danger("a target that makes more power than its table has fuel for", {
        "donor__engine__rated_power": None, "target__engine__rated_power": "125 kW @ 6200 rpm",
    }, "STOP"),
    Danger("a target a little stronger than its table", {
        "donor__engine__rated_power": None, "target__engine__rated_power": "108 kW @ 6200 rpm",
    }, "lean at full load|kW"),
    Danger("a map that is not what it says it is", {"donor__engine__rated_power": "150 kW @ 6200 rpm"}, "STOP"),
    Danger("a big engine on the map of a small one", {"target__engine__displacement": "4400 cc"}, "STOP"),
    Danger("twice the cylinder", {"target__engine__displacement": "3200 cc"}, "cylinder|lean"),
    Danger("a supercharger on an atmospheric map", {
        "target__engine__induction": "boosted", "target__engine__peak_pressure": "180 kPa",
    }, "STOP"),
    Danger("more compression on less octane", {
        **fuel(octane=91), "target__engine__compression_ratio": 12.0,
    }, "knocks on the\\s+donor's\\s+ignition"),
    Danger("a lean intention at full load", {"target__tables__fuel__lambda": 1.05}, "STOP"),
    Danger("revs that the map never saw", {"target__engine__rev_limit": "9000 rpm"}, "STOP"),
    Danger("a table that cannot hold the cells", {"target__tables__fuel__maximum": 75}, "STOP"),
    Danger("dead times that no injector has", {
        "donor__injectors__dead_time": {"battery": ["10 V", "14 V"], "time": ["0.09 ms", "0.05 ms"]},
    }, "STOP"),
    Danger("a battery that is overcharged", {"conditions__battery": "16.4 V"}, "STOP"),
    Danger("injectors that nobody knows", {**own(), "target__injectors__static_flow": "280 cc/min ± 50 %"}, "STOP"),
    Danger("another engine, of which nothing is known", {
        "target__engine__likeness": "another engine", "donor__state": "unknown",
    }, "(?i)until measured"),
    Danger("trims of other cylinders", {"donor__cylinder_trims": True}, "STOP"),
)  # fmt: skip


def checked(changes: dict[str, Any]) -> Result:
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
    return check(build_job(data, SAMPLES, "job.toml"))


def test_they_are_thirty() -> None:
    assert len({danger.name for danger in DANGERS}) == 30


@pytest.mark.law
def test_the_job_without_a_danger_is_the_one_that_may_be_loaded() -> None:
    result = checked({})
    assert (result.verdict, result.how_far) == (Verdict.SUITS, HowFar.LOAD)


@pytest.mark.law
@pytest.mark.parametrize("danger", DANGERS, ids=lambda danger: danger.name)
def test_each_is_stopped_or_named_first(danger: Danger) -> None:
    result = checked(danger.changes)
    console = page()
    text = printed(terminal.checked(result, "", console, terminal.Asked()), console)
    first = "\n".join(text.splitlines()[:FIRST_LINES])
    if danger.seen == "STOP":
        assert result.verdict is Verdict.REFUSE, first
        assert "STOP" in first, first
    else:
        assert re.search(danger.seen, first), first
    # None of them may be driven at load on the word of this program, which knows nothing of ignition.
    knocks = danger.name == "more compression on less octane"
    assert knocks or result.verdict is not Verdict.SUITS or result.how_far is not HowFar.LOAD, first
