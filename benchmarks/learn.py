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
    """One drive: errors of ln λ in the true cells, by the way the table was made.

    `named` is the first of the faults, `alike` those that are said to be no less likely, itself among them; none where
    the drive lies within what was expected. `held_back` is whether no table may be loaded, since the fuel supply is to
    be mended first.
    """

    fault: str
    before: FloatArray
    by_mean: FloatArray
    careful: FloatArray
    updated: FloatArray
    standards: FloatArray
    believed: FloatArray
    visited: BoolArray
    named: str
    alike: tuple[str, ...]
    held_back: bool
    crossed: tuple[bool, bool]
    refused: str


def main(arguments: Sequence[str]) -> None:
    """Run the bench and print its table."""
    from tests.simulator.faults import FAULTS

    parser = argparse.ArgumentParser(prog="python -m benchmarks learn", description=__doc__)
    parser.add_argument("--drives", type=int, default=50, help="cars per fault")
    parser.add_argument(
        "--faults", default=",".join(FAULTS), help="some of them, separated by commas; two at once with a + between"
    )
    parser.add_argument("--seconds", type=float, default=600.0, help="length of a drive")
    parser.add_argument("--state", default="tuned", help="of the donor: tuned or generic")
    parser.add_argument(
        "--likeness", default="same head and cams", help="what the two engines share: it is told and it is true"
    )
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--proved", action="store_true", default=False, help="the probe was proved at two points")
    asked = parser.parse_args(arguments)
    # Small matrices gain nothing by threads, and two processes with two threads each lose a lot.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    told = (asked.seconds, asked.state, asked.likeness, asked.proved)
    outcomes: list[Outcome] = []
    print(_HEAD)
    with ProcessPoolExecutor(asked.processes) as pool:
        for fault in asked.faults.split(","):
            jobs = [(fault, seed, *told) for seed in range(asked.drives)]
            outcomes += pool.map(_one, jobs, chunksize=4)
            print(_line(fault, [one for one in outcomes if one.fault == fault]), flush=True)
    print(_all_of_them(outcomes))


def _one(asked: tuple[str, int, float, str, str, bool]) -> Outcome:
    with TemporaryDirectory() as folder:
        return one(Path(folder), *asked)


def one(folder: Path, fault: str, seed: int, seconds: float, state: str, likeness: str, proved: bool) -> Outcome:
    """Drive one car, learn, and hold everything against the truth."""
    import basemap
    from basemap.belief.faults import EXPECTED, NEAR, SLIGHT
    from basemap.errors import InputError
    from basemap.logs.learn import learn
    from basemap.logs.log import read_log
    from tests.simulator.car import draw_car
    from tests.simulator.drive import simulate
    from tests.simulator.faults import with_fault
    from tests.simulator.files import write_job, write_log

    car = with_fault(draw_car(seed, state=state, likeness=likeness), fault, seed)
    truth = simulate(car, seconds, seed)
    result = basemap.adapt(basemap.load_job(write_job(car, folder)))
    log = read_log(write_log(truth, folder / "log.csv"), {}, barometer_pa=1e5)
    before = _errors(car, car.table)
    try:
        found = learn(result, [log], proved=proved)
    except InputError as error:
        return _no_table(fault, before, (False, False), error.problem)
    crossed = _crossed(fault, truth, {event.kind for event in found.events})
    if found.table is None:
        return _no_table(fault, before, crossed, found.nothing)
    listed = [fault for fault in found.faults if fault.name != EXPECTED]
    least = max(SLIGHT, listed[0].weight - NEAR)
    updated = _errors(car, found.table.new / 100.0)
    return Outcome(
        fault, before,
        _errors(car, _by_mean(car, truth)),
        _errors(car, _careful(car, truth)),
        updated, found.table.standard_after, found.table.mean_after, found.table.visited,
        listed[0].name, tuple(fault.name for fault in listed if fault.weight >= least),
        any(hold.name == "fuel-supply" for hold in found.holds), crossed, "",
    )  # fmt: skip


def _no_table(fault: str, before: FloatArray, crossed: tuple[bool, bool], why: str) -> Outcome:
    nothing, no_cells = np.full(before.shape, np.nan), np.zeros(before.shape, dtype=bool)
    return Outcome(fault, before, before, before, before, nothing, nothing, no_cells, "", (), False, crossed, why)


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


_HEAD = (
    f"{'fault':24s}{'n':>4s} | {'visited %':>9s} {'mean':>6s} {'careful':>7s} {'learn':>6s} | {'unvis. %':>8s} "
    f"{'mean':>6s} {'careful':>7s} {'learn':>6s} | {'in band':>11s} | "
    f"{'>5% lean':>8s} {'mean':>5s} {'learn':>5s} | "
    f"{'first':>5s} {'says':>5s} {'right':>5s} {'alike':>5s} | held back | limits"
)


def _all_of_them(outcomes: Sequence[Outcome]) -> str:
    """The last lines of the table."""
    refused = [f"{one.fault}: {one.refused}" for one in outcomes if one.refused]
    return "\n".join([
        _line("all but the wideband", [one for one in outcomes if one.fault != "wideband"]),
        "first: the right fault before all others; says: drives of which a fault is said to be likelier than none, and "
        "of those the right one said, or said to look the same; held back: no table until the fuel supply is mended",
        *(f"  not learnt from: {said}" for said in sorted(set(refused))[:12]),
    ])  # fmt: skip


def _line(name: str, every: Sequence[Outcome]) -> str:
    from tests.simulator.car import KPA, RPM

    ones = [one for one in every if not one.refused]
    if not ones:
        return f"{name:24s}{0:4d} | nothing learnt of {len(every)}"
    driven = (KPA * 1e3 >= LEAST_PA)[:, np.newaxis] & (RPM >= LEAST_RPM)
    written = [one for one in ones if not one.held_back]

    def of(which: str) -> list[Outcome]:
        return written if which == "updated" else ones

    def rms(which: str, *, visited: bool) -> float:
        values = [getattr(one, which)[driven & (one.visited == visited)] for one in of(which)]
        together = np.concatenate([*values, np.zeros(0)])
        return 100.0 * float(np.sqrt(_mean(together[np.isfinite(together)] ** 2)))

    def in_band(*, visited: bool) -> float:
        inside = [
            np.abs((one.updated - one.believed) / one.standards)[driven & (one.visited == visited)] < 2.0
            for one in written
        ]
        return _mean(np.concatenate([*inside, np.zeros(0)]))

    def lean(which: str) -> float:
        values = [getattr(one, which)[driven & one.visited] > LEAN for one in of(which)]
        return 100.0 * _mean(np.concatenate([*values, np.zeros(0)]))

    parts = [f"{name:24s}{len(ones):4d} |"]
    for visited, width in ((True, 9), (False, 8)):
        parts.append(f"{rms('before', visited=visited):{width}.1f} {rms('by_mean', visited=visited):6.1f}")
        parts.append(f"{rms('careful', visited=visited):7.1f} {rms('updated', visited=visited):6.2f} |")
    parts.append(f"{in_band(visited=True):5.2f} {in_band(visited=False):5.2f} |")
    parts.append(f"{lean('before'):8.1f} {lean('by_mean'):5.1f} {lean('updated'):5.2f} |")
    parts.append(_naming(RANKED.get(name), ones))
    parts.append(f"{len(ones) - len(written):9d} |")
    truly = [one.crossed[1] for one in every if one.crossed[0]]
    parts.append(f"{sum(truly)}/{len(truly)}" if truly else "")
    return " ".join(parts)


def _naming(wanted: tuple[str, ...] | None, ones: Sequence[Outcome]) -> str:
    """How often the right fault came first, how often any was said, and how often that was right, in %."""
    says = [one for one in ones if one.alike]
    if wanted is None:
        return f"{'':5s} {100 * len(says) / len(ones):5.0f} {'':11s} |"
    first, right = ([one.named in wanted for one in some] for some in (ones, says))
    alike = [any(name in wanted for name in one.alike) for one in says]
    shares = (_mean(np.array(first)), len(says) / len(ones), _mean(np.array(right)), _mean(np.array(alike)))
    return " ".join(f"{100 * share:5.0f}" for share in shares) + " |"


def _mean(values: FloatArray | BoolArray) -> float:
    return float(np.mean(values)) if values.size else float("nan")
