"""The machine-readable result: every key of the schema, and what stands where there is no number."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np
import pytest

from basemap import __version__
from basemap.adaptation.pipeline import adapt
from basemap.model.marks import Mark
from basemap.model.result import Result
from basemap.model.table import TableQuantity
from basemap.model.table_result import LAMBDA_CASES
from basemap.report.json_file import as_json
from basemap.report.json_text import to_text
from tests.builders.without_files import make_job


@pytest.fixture(scope="module")
def result() -> Result:
    return adapt(make_job(5, 7))


@pytest.fixture(scope="module")
def written(result: Result) -> dict[str, Any]:
    """The result as another program reads it."""
    read: dict[str, Any] = json.loads(to_text(as_json(result)), parse_constant=pytest.fail)
    return read


def test_keys(written: dict[str, Any]) -> None:
    assert list(written) == [
        "schema", "version", "date", "title", "verdict", "how_far", "how_far_because", "lean_ends", "brief",
        "limits", "accepted", "findings", "not_judged", "assumed", "cancelled", "settings", "tables", "evidence",
        "uncertainty", "dead_time_sweep", "temperature_sweep", "fuel_demand", "sensors", "inputs", "notes", "sources",
    ]  # fmt: skip
    assert (written["schema"], written["version"]) == ("basemap/2", __version__)
    assert date.fromisoformat(written["date"]).isoformat() == written["date"]
    assert written["verdict"] in ("suits as it is", "adapt first", "do not use")
    assert written["how_far"] in ("load, watched", "light load until measured", "idle only until measured")


def test_keys_of_the_parts(written: dict[str, Any]) -> None:
    for finding in written["findings"]:
        assert list(finding) == [
            "rule", "severity", "scope", "message", "remedy", "table", "value", "limit", "source", "cause", "accepted",
            "limit_load_kpa", "limit_rpm", "cells",
        ]  # fmt: skip
    assert {tuple(one) for one in written["assumed"]} == {("key", "value", "half_width", "why", "moves", "unknown")}
    assert written["sources"] == [
        {"file": "ferry_van.toml", "sha256": "a1" * 32},
        {"file": "ferry_van_fuel.csv", "sha256": "0f" * 32},
    ]
    flow = written["inputs"]["target.injectors.static_flow"]
    assert (flow["text"], flow["value"], flow["unit"], flow["origin"]) == (
        "650 cc/min ± 2 %", 650.0, "cc/min", "declared",
    )  # fmt: skip
    assert written["notes"] == {"donor": "bought with the loom; the seller tuned it himself"}


def test_settings(written: dict[str, Any]) -> None:
    by_name = {setting["name"]: setting for setting in written["settings"]}
    assert list(by_name) == [
        "displacement", "static_flow", "stoichiometric", "openings_per_cycle", "cylinders", "injectors", "dead_time",
    ]  # fmt: skip
    assert by_name["displacement"]["unit"] == "cc"
    assert by_name["displacement"]["old"] == pytest.approx(1998.0, rel=1e-12)
    assert by_name["displacement"]["enter"] == pytest.approx(2393.0, rel=1e-12)
    assert by_name["dead_time"]["battery_v"] == [8.0, 10.0, 12.0, 14.0, 16.0]
    assert by_name["dead_time"]["enter"] == pytest.approx([2.95, 2.05, 1.42, 1.02, 0.80])


def test_tables_are_rows_of_load_lowest_first(result: Result, written: dict[str, Any]) -> None:
    table = written["tables"]["fuel"]
    assert (table["quantity"], table["unit"], table["load_unit"]) == ("volumetric efficiency", "%", "kPa")
    assert table["load"] == sorted(table["load"])
    assert table["rpm"] == sorted(table["rpm"])
    assert (len(table["load"]), len(table["rpm"])) == (5, 7)
    grids = [
        "old", "new", "stored", "change_percent", "stored_lambda_ratio", "intended_lambda", "pulse_ms", "duty",
        "air_mg_per_cycle", "injector_flow_g_per_s", "implied_volumetric_efficiency", "relative_uncertainty", "marks",
    ]  # fmt: skip
    for grid in (*(table[name] for name in grids), *table["lambda_ratio"].values()):
        assert [len(row) for row in grid] == [7] * 5
    assert list(table["lambda_ratio"]) == list(LAMBDA_CASES)
    assert table["lambda_table_left"] is None
    assert table["new"][0][0] == result.table.new[0, 0]
    assert table["new"][4][6] == result.table.new[4, 6]


@pytest.mark.law
def test_pulse_flow_air_and_duty_belong_together(result: Result, written: dict[str, Any]) -> None:
    """Fuel = air/(λ·L) = openings · flow · (pulse − dead time), in the units of the file."""
    table, target = written["tables"]["fuel"], result.job.target.hardware
    pulse, flow, air, lambda_, duty = (
        np.array(table[name], dtype=float)
        for name in ("pulse_ms", "injector_flow_g_per_s", "air_mg_per_cycle", "intended_lambda", "duty")
    )
    dead_time_ms = 1.02 + (14.0 - 13.8) / 2.0 * (1.42 - 1.02)
    delivered_mg = flow * (pulse - dead_time_ms)
    np.testing.assert_allclose(delivered_mg, air / (lambda_ * target.fuel.stoichiometric), rtol=1e-12)
    np.testing.assert_allclose(duty, pulse * np.array(table["rpm"]) / 120e3, rtol=1e-12)


def test_null_stands_where_there_is_no_number(result: Result) -> None:
    ratio = result.table.lambda_ratio["new_table_old_settings"].copy()
    ratio[0, 0] = np.inf
    new = result.table.new.copy()
    new[0, 1] = np.nan
    no_fuel = np.zeros_like(result.table.reachable)
    no_fuel[0, 0] = True
    table = replace(
        result.table,
        new=new,
        lambda_ratio={**result.table.lambda_ratio, "new_table_old_settings": ratio},
        marks={Mark.NO_FUEL: no_fuel},
    )
    written = json.loads(to_text(as_json(replace(result, table=table))))["tables"]["fuel"]
    assert written["lambda_ratio"]["new_table_old_settings"][0][0] is None
    assert written["marks"][0][:2] == [["no fuel"], []]
    assert written["new"][0][1] is None
    assert written["change_percent"][0][1] is None


def test_a_row_of_a_table_is_a_line_of_the_file(result: Result) -> None:
    text = to_text(as_json(result))
    assert text.endswith("}\n")
    longest = [line for line in text.splitlines() if line.strip().startswith("[") and line.count(",") >= 6]
    assert len(longest) >= 5 * 17


def test_a_file_name_without_letters_is_escaped(result: Result) -> None:
    job = replace(result.job, title="\udcff")
    assert json.loads(to_text(as_json(replace(result, job=job))).encode())["title"] == "\udcff"


def test_between_the_cells_and_a_common_factor(written: dict[str, Any]) -> None:
    table = written["tables"]["fuel"]
    between = table["between_cells"]
    assert list(between) == ["rpm", "load", "lambda_ratio", "leanest", "richest"]
    assert (len(between["load"]), len(between["rpm"])) == (9, 13)
    assert between["rpm"][::2] == table["rpm"]
    assert between["leanest"]["lambda_ratio"] >= between["richest"]["lambda_ratio"]
    assert table["common_factor"] is None
    highest = max(max(row) for row in table["new"])
    job = make_job(5, 7)
    narrow = adapt(replace(job, storage=replace(job.storage, maximum=round(0.9 * highest, 1))))
    offered = as_json(narrow)["tables"]["fuel"]["common_factor"]
    assert list(offered) == ["factor", "setting", "unit", "enter"]
    assert (offered["setting"], offered["unit"]) == ("displacement", "cc")
    assert offered["factor"] == pytest.approx(2393.0 / offered["enter"])


def test_cells_of_another_quantity_name_both_units() -> None:
    job = make_job(5, 7)
    target = replace(job.target.table, quantity=TableQuantity.PULSE_WIDTH)
    pulses = replace(
        job,
        target=replace(job.target, table=target, shown=replace(job.target.shown, unit="ms", per_unit=1e-3)),
        donor=replace(job.donor, shown=job.target.shown),
    )
    table = as_json(adapt(pulses))["tables"]["fuel"]
    assert (table["quantity"], table["unit"]) == ("pulse width", "ms")
    assert (table["donor_quantity"], table["donor_unit"]) == ("volumetric efficiency", "%")
    assert all(cell is None for row in table["change_percent"] for cell in row)
