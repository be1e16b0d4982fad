"""What a drive taught, as JSON: schema ``basemap-learn/1``."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from basemap import __version__
from basemap.model.learnt import Learnt, LearntTable
from basemap.model.result import Result
from basemap.report.json_text import finite, plain, today

SCHEMA = "basemap-learn/1"


def learnt_as_json(result: Result, found: Learnt) -> dict[str, Any]:
    """What was learnt as plain dictionaries, lists, texts and numbers; rows are load, columns are rpm, lowest first."""
    job = result.job
    return {
        "schema": SCHEMA,
        "version": __version__,
        "date": today(),
        "title": job.title,
        "events": [asdict(event) for event in found.events],
        "holds": [asdict(hold) for hold in found.holds],
        "nothing_learnt": found.nothing or None,
        "probe_proved": found.proved,
        "card": [
            {"line": one.line, "predicted": one.predicted, "seen": one.seen, "within": one.within, "at_s": one.at_s}
            for one in found.card
        ],
        "faults": [asdict(fault) for fault in found.faults],
        "used": {
            "seconds": sum(one.seconds for one in found.used),
            "compared_s": sum(one.compared_s for one in found.used),
            "chunks": sum(log.chunks.size for log in found.logs),
            "left_out": _left_out(found),
        },
        "delay": [{"median_s": median, "found_at_fuel_cuts_s": more} for median, more in found.delays],
        "tables": {} if found.table is None else {result.table.name: _table(result, found.table)},
        "next_points": [asdict(point) for point in found.next_points],
        "controller": _controller(found),
        "inputs": [asdict(one) for one in found.inputs],
        "read_as": [list(said) for said in found.read_as],
        "trace": _trace(found),
        "sources": [
            *(asdict(source) for source in job.sources),
            *({"file": log.file, "sha256": log.sha256} for log in found.logs),
        ],
    }


def _left_out(found: Learnt) -> dict[str, float]:
    reasons = dict.fromkeys(reason for one in found.used for reason in one.left_out)
    return {reason: sum(one.left_out.get(reason, 0.0) for one in found.used) for reason in reasons}


def _table(result: Result, table: LearntTable) -> dict[str, Any]:
    job = result.job
    return {
        "rpm": plain(job.rpm),
        "load": plain(job.target.shown.load),
        "load_unit": job.target.shown.load_unit,
        "unit": job.target.shown.unit,
        "before": plain(table.before),
        "new": plain(table.new),
        "change_percent": plain(table.change_percent),
        "mean_before": plain(table.mean_before),
        "mean_after": plain(table.mean_after),
        "standard_before": plain(table.standard_before),
        "standard_after": plain(table.standard_after),
        "visited": table.visited.tolist(),
        "support": plain(table.support),
    }


def _controller(found: Learnt) -> dict[str, Any] | None:
    formula = found.controller
    if formula is None:
        return None
    return {
        "formula_factor": formula.factor,
        "formula_factor_standard": formula.factor_standard,
        "dead_time_ms": formula.dead_time_ms,
        "dead_time_standard_ms": formula.dead_time_standard_ms,
        "battery_v": formula.battery_v,
        "dead_time_ms_per_v": finite(formula.per_volt_ms),
        "dead_time_ms_per_v_standard": finite(formula.per_volt_standard_ms),
        "told_dead_time_ms": formula.told_ms,
        "told_dead_time_ms_per_v": formula.told_per_volt_ms,
        "confirms": formula.confirms,
    }


def _trace(found: Learnt) -> dict[str, Any] | None:
    trace = found.trace
    if trace is None:
        return None
    return {
        "log": list(trace.log),
        "at_s": plain(trace.at_s),
        "expected": plain(trace.expected),
        "corrected": plain(trace.corrected),
        "seen": plain(trace.seen),
    }
