"""``python -m benchmarks learn``: what `basemap learn` makes of simulated drives whose truth is known.

For every fault so many cars of their own, each driven once: how far λ is from what was intended in the true cells,
before, by the two ways by hand, and after; how often the band held the truth; which fault was named; whether what
crossed a limit was found. The simulator (`tests/simulator`) shares nothing with the program.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST_PA, LEAST_RPM = 30e3, 850.0
"""Cells below are not driven: overrun, and slower than idle."""
LEAN = 0.05
RANKED = {
    "dead time": ("dead time",),
    "dead time over voltage": ("dead time over voltage",),
    "flow": ("common factor",),
    "stoichiometric ratio": ("common factor",),
    "rail pressure": ("common factor",),
    "regulator": ("regulator",),
    "pump": ("fuel supply",),
    "pressure sensor": ("pressure sensor",),
    "breathing over speed": ("breathing over speed",),
    "breathing over load": ("breathing over load",),
    "leak": ("exhaust leak",),
}
CROSSED = {
    "overvoltage": "charging voltage high",
    "cranking voltage": "cranking voltage low",
    "coolant": "coolant hot",
}


@dataclass(frozen=True)
class Outcome:
    """One drive: errors of ln λ in the true cells, by the way the table was made."""

    fault: str
    before: FloatArray
    by_mean: FloatArray
    careful: FloatArray
    updated: FloatArray
    standards: FloatArray
    believed: FloatArray
    visited: BoolArray
    named: str
    listed: tuple[str, ...]
    crossed: tuple[bool, bool]
    refused: str


def main(arguments: Sequence[str]) -> None:
    """Run the bench and print its table."""
    from tests.simulator.faults import FAULTS

    parser = argparse.ArgumentParser(prog="python -m benchmarks learn", description=__doc__)
    parser.add_argument("--drives", type=int, default=50, help="cars per fault")
    parser.add_argument("--faults", default=",".join(FAULTS), help="some of them, separated by commas")
    parser.add_argument("--seconds", type=float, default=600.0, help="length of a drive")
    parser.add_argument("--state", default="tuned", help="of the donor: tuned or generic")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--proved", action="store_true", default=False, help="the probe was proved at two points")
    asked = parser.parse_args(arguments)
    # Small matrices gain nothing by threads, and two processes with two threads each lose a lot.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    jobs = [
        (fault, seed, asked.seconds, asked.state, asked.proved)
        for fault in asked.faults.split(",")
        for seed in range(asked.drives)
    ]
    with ProcessPoolExecutor(asked.processes) as pool:
        outcomes = list(pool.map(_one, jobs, chunksize=4))
    print(report(outcomes))


def _one(asked: tuple[str, int, float, str, bool]) -> Outcome:
    with TemporaryDirectory() as folder:
        return one(Path(folder), *asked)


def one(folder: Path, fault: str, seed: int, seconds: float, state: str, proved: bool) -> Outcome:
    """Drive one car, learn, and hold everything against the truth."""
    import basemap
    from basemap.belief.faults import EXPECTED
    from basemap.errors import InputError
    from basemap.logs.learn import learn
    from basemap.logs.log import read_log
    from tests.simulator.car import KPA, RPM, draw_car
    from tests.simulator.drive import simulate
    from tests.simulator.faults import with_fault
    from tests.simulator.files import write_job, write_log

    car = with_fault(draw_car(seed, state=state), fault, seed)
    truth = simulate(car, seconds, seed)
    result = basemap.adapt(basemap.load_job(write_job(car, folder)))
    log = read_log(write_log(truth, folder / "log.csv"), {}, barometer_pa=1e5)
    shape = (KPA.size, RPM.size)
    before = _errors(car, car.table)
    nothing, no_cells = np.full(shape, np.nan), np.zeros(shape, dtype=bool)
    try:
        found = learn(result, [log], proved=proved)
    except InputError as error:
        said = error.problem
        return Outcome(fault, before, before, before, before, nothing, nothing, no_cells, "", (), (False, False), said)
    crossed = _crossed(fault, truth, {event.kind for event in found.events})
    if found.table is None:
        return Outcome(
            fault, before, before, before, before, nothing, nothing, no_cells, "", (), crossed, found.nothing
        )  # fmt: skip
    updated = _errors(car, found.table.new / 100.0)
    return Outcome(
        fault, before,
        _errors(car, _by_mean(car, truth)),
        _errors(car, _careful(car, truth)),
        updated, found.table.standard_after, found.table.mean_after, found.table.visited,
        next(one.name for one in found.faults if one.name != EXPECTED),
        tuple(one.name for one in found.faults[: [one.name for one in found.faults].index(EXPECTED)]), crossed, "",
    )  # fmt: skip


def _errors(car, table: FloatArray) -> FloatArray:  # type: ignore[no-untyped-def]
    from tests.simulator.car import KPA, RPM
    from tests.simulator.drive import true_lambda

    speed, pressure = np.meshgrid(RPM, KPA * 1e3)
    there = true_lambda(car, table, speed.ravel(), pressure.ravel()).reshape(speed.shape)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.log(there / car.intended))


def _crossed(fault: str, truth, kinds: set[str]) -> tuple[bool, bool]:  # type: ignore[no-untyped-def]
    """Whether the drive truly crossed its limit, and whether that was said."""
    kind = CROSSED.get(fault)
    if kind is None:
        return False, False
    running = truth.time_s > 8.0
    truly = {
        "overvoltage": bool((truth.battery_v[running] > 16.0).any()),
        "cranking voltage": bool((truth.battery_v[(truth.rpm > 100) & (truth.rpm < 400)] < 8.0).any()),
        "coolant": bool((truth.coolant_c > 115.2).any()),
    }[fault]
    return truly, kind in kinds


def _nearest(truth, kept: BoolArray) -> tuple[NDArray[np.intp], FloatArray]:  # type: ignore[no-untyped-def]
    """Cell nearest to every kept moment, and how many times the intended λ was read there."""
    from tests.simulator.car import KPA, RPM

    row = np.abs(np.subtract.outer(truth.pressure_pa[kept] / 1e3, KPA)).argmin(axis=1)
    column = np.abs(np.subtract.outer(truth.rpm[kept], RPM)).argmin(axis=1)
    return row * RPM.size + column, truth.lambda_read[kept]


def _by_mean(car, truth) -> FloatArray:  # type: ignore[no-untyped-def]
    """Everybody's way: each visited cell times the mean of measured over intended λ, fuel on and warm."""
    kept = (truth.coolant_c > 70.0) & (truth.pulse_s > 0) & (truth.rpm > 600)
    cell, read = _nearest(truth, kept)
    count = np.bincount(cell, minlength=car.table.size)
    total = np.bincount(cell, weights=read / car.intended.ravel()[cell], minlength=car.table.size)
    factor = np.where(count > 0, total / np.maximum(count, 1), 1.0)
    return np.asarray(car.table * factor.reshape(car.table.shape))


def _careful(car, truth) -> FloatArray:  # type: ignore[no-untyped-def]
    """A careful tuner's way: steady moments only, the delay taken out, cells with enough of them, then smoothed."""
    step = float(truth.time_s[1] - truth.time_s[0])
    late = np.interp(truth.time_s + 0.1 + 120.0 / np.maximum(truth.rpm, 300.0) + 0.15, truth.time_s, truth.lambda_read)
    width = round(1.0 / step)
    pressure = np.lib.stride_tricks.sliding_window_view(truth.pressure_pa, width)
    steady = np.zeros(truth.rpm.size, dtype=bool)
    steady[width - 1 :] = pressure.max(axis=1) / pressure.min(axis=1) < 1.08
    uncut = np.convolve(truth.pulse_s == 0, np.ones(round(5.0 / step)))[: truth.rpm.size] < 0.5
    kept = steady & uncut & (truth.coolant_c > 75.0) & (truth.rpm > 600) & (late > 0.69) & (late < 1.34)
    cell, _ = _nearest(truth, kept)
    size = car.table.size
    count = np.bincount(cell, minlength=size).reshape(car.table.shape).astype(np.float64)
    off = np.log(late[kept] / car.intended.ravel()[cell])
    total = np.bincount(cell, weights=off, minlength=size).reshape(car.table.shape)
    enough = count > 0.5 / step
    weight = np.where(enough, np.minimum(count, 5.0 / step), 0.0)
    mean = np.where(enough, total / np.maximum(count, 1.0), 0.0)
    rows, columns = np.indices(car.table.shape)
    near = np.exp(
        -0.5
        * (
            np.subtract.outer(rows.ravel(), rows.ravel()) ** 2
            + np.subtract.outer(columns.ravel(), columns.ravel()) ** 2
        )
    )
    support = near @ weight.ravel()
    smooth = (near @ (weight * mean).ravel()) / (support + 0.2 / step)
    return np.asarray(car.table * np.exp(smooth.reshape(car.table.shape)))


def report(outcomes: Sequence[Outcome]) -> str:
    """The table as text."""
    head = (
        f"{'fault':24s}{'n':>4s} | {'visited %':>9s} {'mean':>6s} {'careful':>7s} {'learn':>6s} | {'unvis. %':>8s} "
        f"{'mean':>6s} {'careful':>7s} {'learn':>6s} | {'held':>5s} {'':>5s} | {'>5% lean':>8s} {'mean':>5s} "
        f"{'learn':>5s} | {'named':>6s} {'listed':>6s} | limits"
    )
    names = list(dict.fromkeys(one.fault for one in outcomes))
    lines = [head, *(_line(name, [one for one in outcomes if one.fault == name]) for name in names)]
    most = [one for one in outcomes if one.fault not in ("wideband",)]
    lines.append(_line("all but the wideband", most))
    refused = [f"{one.fault}: {one.refused}" for one in outcomes if one.refused]
    return "\n".join([*lines, *(f"  not learnt from: {said}" for said in sorted(set(refused))[:12])])


def _line(name: str, every: Sequence[Outcome]) -> str:
    from tests.simulator.car import KPA, RPM

    ones = [one for one in every if not one.refused]
    if not ones:
        return f"{name:24s}{0:4d} | nothing learnt of {len(every)}"
    driven = (KPA * 1e3 >= LEAST_PA)[:, np.newaxis] & (RPM >= LEAST_RPM)

    def rms(which: str, *, visited: bool) -> float:
        values = np.concatenate([getattr(one, which)[driven & (one.visited == visited)] for one in ones])
        return 100.0 * float(np.sqrt(np.mean(values[np.isfinite(values)] ** 2)))

    def held(*, visited: bool) -> float:
        inside = [
            np.abs((one.updated - one.believed) / one.standards)[driven & (one.visited == visited)] < 2.0
            for one in ones
        ]
        return float(np.mean(np.concatenate(inside)))

    def lean(which: str) -> float:
        values = np.concatenate([getattr(one, which)[driven & one.visited] for one in ones])
        return 100.0 * float(np.mean(values > LEAN))

    parts = [f"{name:24s}{len(ones):4d} |"]
    for visited in (True, False):
        parts.append(f"{rms('before', visited=visited):9.1f}" if visited else f"{rms('before', visited=visited):8.1f}")
        parts += [f"{rms(way, visited=visited):6.1f}" for way in ("by_mean",)]
        parts += [f"{rms('careful', visited=visited):7.1f}", f"{rms('updated', visited=visited):6.2f} |"]
    parts.append(f"{held(visited=True):5.2f} {held(visited=False):5.2f} |")
    parts.append(f"{lean('before'):8.1f} {lean('by_mean'):5.1f} {lean('updated'):5.2f} |")
    wanted = RANKED.get(name)
    if wanted:
        first = np.mean([one.named in wanted for one in ones])
        listed = np.mean([any(name in wanted for name in one.listed) for one in ones])
        parts.append(f"{100 * first:5.0f}% {100 * listed:5.0f}% |")
    else:
        quiet = np.mean([not one.listed for one in ones])
        parts.append(f"{100 * quiet:5.0f}%q       |")
    truly = [one.crossed[1] for one in every if one.crossed[0]]
    parts.append(f"{sum(truly)}/{len(truly)}" if truly else "")
    return " ".join(parts)
