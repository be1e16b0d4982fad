"""The first-start card: what to read before and while the engine first runs, and when to stop.

A prediction is worth something because it is written down first. Everything else on the card is common practice in the
trade and is marked so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from basemap.adaptation.first_start import CRANKING_V, Cranking, IdlePoint, cranking, cranking_table, idle_point
from basemap.adaptation.further_tables import COLD_K, fuel_changes
from basemap.adaptation.regions import Regions
from basemap.adaptation.units_shown import manifold_pressure, temperature
from basemap.constants import (
    FUEL_PRESSURE_LOW,
    LEAN_CAUTION,
    LEAN_STOP,
    LEANEST_IDLE,
    LEANEST_WIDE_OPEN,
    RICHEST_IDLE,
)
from basemap.model.card import Basis, Card, CardLine, CardPart
from basemap.model.finding import Verdict
from basemap.model.installation import FloatArray, Regulator
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.model.sensor import SensorQuantity
from basemap.model.settings import Settings
from basemap.rounding import excess, percent_up, rounded_down, rounded_up, signed_percent, without_noise

PSI_PA = 6894.757293168
"""A pound-force per square inch, NIST SP 811."""

_BAROMETER_OFF_PA, _SHOWN_PA = 3e3, 100.0
"""How far the manifold sensor may be off the barometer, and the step in which both are shown."""

PRACTICE_MARK = "*"
NOTES = (
    f"{PRACTICE_MARK} common practice in the trade, no source; lines without a mark are calculated from the job.",
    "This card does not replace a qualified tuner, the makers' instructions, or local law on road vehicles.",
)


def first_start_card(result: Result) -> Card:
    """Work out the card of a job.

    Parameters
    ----------
    result
        The predictions hold for its new table with the settings to enter.
    """
    engine = result.job.target.hardware.engine
    return Card(
        title=result.job.title,
        warning=_warning(result),
        limits=result.limits,
        parts=(
            CardPart("before", "Before turning the key", tuple(_before(result)), ticks=True),
            CardPart("key_on", "Key on, engine off", tuple(_key_on(result))),
            CardPart("cranking", "Cranking", tuple(_cranking(result))),
            CardPart("idle", f"Idle: {engine.idle_rpm:g} rpm, warm, all trims off", tuple(_idle(result))),
            CardPart("load", "First load: in steps, wideband in view", tuple(_load(result))),
            CardPart("charging", "Charging", tuple(_charging())),
            CardPart(
                "not_adapted", "Not adapted: tick what somebody qualified has set", tuple(_not_adapted(result)), True
            ),
        ),
        notes=NOTES,
    )


def _warning(result: Result) -> str:
    """The warning about a stop in force, or about one that the user accepted; empty if there is neither."""
    if result.verdict is Verdict.REFUSE:
        rules = ", ".join(dict.fromkeys(stop.rule for stop in result.stops))
        return f"STOP: do not start the engine on this map ({rules})."
    return f"STOP accepted by you, against advice: {', '.join(result.accepted)}." if result.accepted else ""


def _before(result: Result) -> Iterator[CardLine]:
    # The original of the donor's table must not be lost; the first source that is not the job file is that table.
    table = next((source for source in result.job.sources if not source.file.endswith(".toml")), None)
    noted = f" ({table.sha256[:12]}…)" if table is not None else ""
    yield CardLine("original_saved", f"Original file saved, its SHA-256 noted{noted}")
    if result.verdict is not Verdict.REFUSE:
        yield CardLine("read_back", "New table and settings entered together, engine off; both read back")
    rail = result.job.target.hardware.fuel.rail_pressure_pa
    yield CardLine(
        "fuel_pressure", f"Pump on, engine off: {_pressure(rail)} on a gauge; no leaks",
        basis=Basis.PREDICTED, value=rail / 1e3, unit="kPa",
    )  # fmt: skip
    yield CardLine("timing", "Ignition timing checked with a light, at fixed advance; begin retarded")
    yield CardLine("extinguisher", "Extinguisher at hand")
    yield CardLine("trims", "Adaptive trims cleared; closed loop off until the wideband is proved")


def _pressure(pressure_pa: float) -> str:
    """A gauge pressure in both units that gauges have."""
    return f"{pressure_pa / 1e5:.2f} bar ({pressure_pa / PSI_PA:.0f} psi)"


def _key_on(result: Result) -> Iterator[CardLine]:
    job = result.job
    barometer_pa, unit = job.target.hardware.conditions.barometer_pa, manifold_pressure(job)
    barometer, decimals = barometer_pa / 1e3, unit.decimals(_SHOWN_PA)
    fitted = {sensor.name: sensor.fitted for sensor in result.sensors if sensor.fitted is not None}
    volts = ""
    if "map" in fitted:
        at = float(fitted["map"].volts_at(barometer * 1e3))
        volts = f", {at:.2f} V" if math.isfinite(at) else ""
    within = _two_digits_down(_BAROMETER_OFF_PA / unit.size)
    yield CardLine(
        "map", "MAP = barometer",
        f"{unit.number(barometer_pa):.{decimals}f} {unit.name} ± {within}{volts}", "outside",
        value=barometer, low=barometer - 3.0, high=barometer + 3.0, unit="kPa",
    )  # fmt: skip
    degrees = temperature(job)
    apart = f"± {3.0 / degrees.size:.2g} {degrees.name if degrees.name == 'degF' else 'K'}"
    yield CardLine(
        "cold_soaked", "ECT = IAT = ambient", f"{apart}, cold-soaked 8 h", "outside", low=-3.0, high=3.0, unit="K"
    )
    yield CardLine("battery_at_rest", "Battery", "12.2 V or more", "< 12.2 V", "< 11.5 V", low=12.2, unit="V")
    yield CardLine("tp", "TP", "0 and 100 %, end stops learnt", "other")
    wideband = next(
        (sensor for sensor in result.sensors if sensor.quantity is SensorQuantity.LAMBDA and sensor.fitted), None
    )
    points = ""
    if wideband is not None and wideband.fitted is not None:
        low, high = (float(volt) for volt in wideband.fitted.volts_at(np.array([0.8, 1.2])))
        points = f": λ 0.8 at {low:.2f} V, 1.2 at {high:.2f} V" if math.isfinite(low + high) else ""
    yield CardLine("wideband", "Wideband, once warm", f"right at two points{points}", "one point only")


def _two_digits_down(limit: float) -> str:
    """A limit to two digits, never printed wider than it is.

    >>> _two_digits_down(3.0), _two_digits_down(0.43511), _two_digits_down(0.8859), _two_digits_down(30.0)
    ('3', '0.43', '0.88', '30')
    """
    decimals = max(0, 1 - math.floor(math.log10(limit)))
    return f"{float(rounded_down(without_noise(limit), decimals)):g}"


def _cranking(result: Result) -> Iterator[CardLine]:
    job, table, predicted = result.job, cranking_table(result), cranking(result)
    yield CardLine("battery", "Battery", "8 to 11 V", "< 9.0 V", "< 8.0 V", low=8.0, high=11.0, unit="V")
    yield from _cranking_pulse(result, predicted)
    dead, volts = job.target.hardware.injectors.dead_time, np.array(CRANKING_V)
    rail = table.table.target.rail_pressure_pa if table is not None else None
    # While cranking, the manifold is at the barometer, so either kind of regulator leaves the full rail pressure.
    times = dead.at(volts, job.target.hardware.fuel.rail_pressure_pa if rail is None else rail)
    beyond = " (extrapolated)" if CRANKING_V[0] < dead.battery_v[0] else ""
    yield CardLine(
        "dead_time", "Dead time at 8, 9, 10 V", f"{_listed(times)} ms{beyond}",
        basis=Basis.PREDICTED, low=1e3 * float(times[-1]), high=1e3 * float(times[0]), unit="ms",
    )  # fmt: skip
    inside = job.target.table.inside if table is None else table.table.target.inside
    told = result.in_force.new if predicted is None else predicted.settings
    mixture = "" if predicted is None else f": λ {signed_percent(predicted.read_high)}"
    yield _a_volt(told, times, mixture, inside=inside.dead_time)


def _a_volt(told: Settings, dead_time_s: FloatArray, mixture: str, *, inside: bool) -> CardLine:
    """Pulse lost if the ECU reads 8 V as 9 V: from its dead times, or from the injectors' own if it adds none."""
    words = "8 V read as 9 V"
    if inside:
        words, lost = "Battery 8 V, not 9 V", 1e3 * float(dead_time_s[0] - dead_time_s[1])
    elif told.battery_factor is not None:
        at_eight, at_nine = told.battery_factor.at(np.array(CRANKING_V[:2]))
        share = 1.0 - float(at_nine / at_eight)
        return CardLine(
            "dead_time_per_volt", words, f"{percent_up(share)} % of every pulse{mixture}",
            basis=Basis.PREDICTED, value=100.0 * share, unit="%/V",
        )  # fmt: skip
    else:
        at_eight, at_nine = told.dead_time_s(np.array(CRANKING_V[:2]))
        lost = 1e3 * float(at_eight - at_nine)
    return CardLine(
        "dead_time_per_volt", words, f"{rounded_up(without_noise(lost), 2)} ms of every pulse{mixture}",
        basis=Basis.PREDICTED, value=lost, unit="ms/V",
    )  # fmt: skip


def _cranking_pulse(result: Result, found: Cranking | None) -> Iterator[CardLine]:
    cold_k = result.job.target.hardware.engine.coldest_start_k
    if found is None:
        why = "no cranking table" if cranking_table(result) is None else "no cranking table over coolant temperature"
        yield CardLine(
            "pulse", "Pulse at 8, 9, 10 V", f"not predicted: the job has {why}", basis=Basis.PREDICTED, unit="ms"
        )
        return
    calibrate = ", calibrate" if fuel_changes(result.job) and cold_k < COLD_K else ""
    pulses = found.pulse_s * 1e3
    low, high = float(pulses.min()), float(pulses.max())
    yield CardLine(
        "pulse", f"Pulse, {temperature(result.job).text(cold_k)}, 8, 9, 10 V",
        _or_unknown(f"{_listed(found.pulse_s)} ms{calibrate}", low),
        basis=Basis.PREDICTED, low=_known(low), high=_known(high), unit="ms",
    )  # fmt: skip
    off = 100.0 * (found.lambda_ratio - 1.0)
    band = found.relative_band
    # The band is one of ln λ: its lean end is the wider one.
    sure = f"±{excess(math.exp(band))} % (k = 2)" if math.isfinite(band) else "band not known"
    words = ", ".join(signed_percent(float(ratio)) for ratio in found.lambda_ratio)
    yield CardLine(
        "lambda", "λ off donor's, 8, 9, 10 V", words if math.isnan(band) else f"{words}, {sure}",
        basis=Basis.PREDICTED, low=_known(float(off.min())), high=_known(float(off.max())), unit="%",
    )  # fmt: skip


def _listed(values_s: FloatArray) -> str:
    return ", ".join(f"{1e3 * value:.2f}" for value in values_s)


def _idle(result: Result) -> Iterator[CardLine]:
    job, point = result.job, idle_point(result)
    pressure_pa, unit = job.target.hardware.engine.idle_pressure_pa, manifold_pressure(job)
    assumed = " (assumed)" if any(one.key == "target.engine.idle" for one in job.assumed) else ""
    predicted = Basis.PREDICTED
    yield CardLine("map", "MAP", f"{unit.text(pressure_pa, 4)}{assumed}", basis=predicted, value=pressure_pa / 1e3,
               unit="kPa")  # fmt: skip
    pulse, duty = point.pulse_s * 1e3, 100.0 * point.duty
    said = _or_unknown(f"{pulse:.2f} ms", pulse)
    if Regions(result).counts_air:
        said = "not predicted: the load axis does not say how much air idle takes"
    yield CardLine("pulse", "Pulse", said, basis=predicted, value=_known(pulse), unit="ms")
    yield CardLine(
        "duty", "Duty", _or_unknown(f"{percent_up(point.duty)} %", duty), basis=predicted, value=_known(duty), unit="%"
    )
    yield _idle_rail(job)
    yield _idle_lambda(point)
    inside = job.target.table.inside.dead_time
    which = "Battery 1 V low / high" if inside else "1 V read high / low"
    lean, rich = signed_percent(point.read_high), signed_percent(point.read_low)
    yield CardLine(
        "lambda_per_volt", which, f"λ {lean} / {rich}", basis=predicted,
        value=_known(100.0 * (point.read_high - 1.0)), low=_known(100.0 * (point.read_low - 1.0)),
        high=_known(100.0 * (point.read_high - 1.0)), unit="%",
    )  # fmt: skip


def _idle_lambda(point: IdlePoint) -> CardLine:
    """λ from the table as stored, with its band, and the intended λ if that is a different number."""
    comes, band, wanted = point.predicted_lambda, point.relative_band, point.intended_lambda
    low, high = comes * math.exp(-band), comes * math.exp(band)  # the band is one of ln λ
    words = "no fuel" if math.isinf(comes) else "not known"
    if math.isfinite(low + high):
        # Printed wider than it is, never narrower.
        words = f"{comes:.2f}, {rounded_down(low, 2)} to {rounded_up(high, 2)} (k = 2)"
    if math.isfinite(comes) and f"{comes:.2f}" != f"{wanted:.2f}":
        words += f", not {wanted:.2f}"
    stop = f"> {LEANEST_IDLE:g}, < {RICHEST_IDLE:g}"
    return CardLine("lambda", "λ", words, "outside", stop, basis=Basis.PREDICTED, value=_known(comes), low=_known(low),
                high=_known(high), intended=_known(wanted))  # fmt: skip


def _idle_rail(job: Job) -> CardLine:
    """Fuel pressure on a gauge at idle: a regulator that refers to the manifold lowers it by the manifold vacuum."""
    rail, engine = job.target.hardware.fuel.rail_pressure_pa, job.target.hardware.engine
    if job.target.hardware.fuel.regulator is Regulator.MANIFOLD:
        rail -= job.target.hardware.conditions.barometer_pa - engine.idle_pressure_pa
    stop = f"{excess(FUEL_PRESSURE_LOW, 0)} % low"
    return CardLine("fuel_pressure", "Fuel pressure", _pressure(rail), "5 % off", stop,
                basis=Basis.PREDICTED, value=rail / 1e3, low=1e-3 * FUEL_PRESSURE_LOW * rail, unit="kPa")  # fmt: skip


def _load(result: Result) -> Iterator[CardLine]:
    """The mixture of the first pull: how lean it may get, by the rules that would have stopped the map."""
    regions = Regions(result)
    cells = regions.wide_open | regions.boost
    where = "wide open" if cells.any() else "at load"
    intended = result.job.target.table.intended_lambda[cells if cells.any() else regions.at_load]
    low, high = float(np.nanmin(intended)), float(np.nanmax(intended))
    # Whatever was intended, no rule lets a mixture leaner than λ 1 pass at full load.
    leanest = max(high, LEANEST_WIDE_OPEN)
    if f"{low:.2f}" == f"{high:.2f}":
        stop = min(high * LEAN_STOP, leanest)
        span, limits = f"{high:.2f}", [f"> {rounded_down(limit, 2)}" for limit in (0.5 * (high + stop), stop)]
        limits[0] = "" if limits[0] == limits[1] else limits[0]
    else:
        never = f", > {rounded_down(leanest, 2)}" if high * LEAN_STOP > leanest else ""
        span = f"{low:.2f} to {high:.2f}"
        limits = [f"> {excess(LEAN_CAUTION, 0)} % lean", f"> {excess(LEAN_STOP, 0)} % lean{never}"]
    yield CardLine(
        "lambda", f"λ {where}", f"{span} as intended", limits[0], limits[1], Basis.PREDICTED,
        low=low, high=high * LEAN_CAUTION, intended=high,
    )  # fmt: skip


def _charging() -> Iterator[CardLine]:
    yield CardLine("battery", "Battery", "13.2 to 14.8 V", "< 13.0 V after 30 s, > 15.0 V for 2 s",
               "> 15.5 V for 1 s: engine off", low=13.2, high=14.8, unit="V")  # fmt: skip
    yield CardLine(
        "overvoltage", "Battery", "never above 16 V", "", "> 16.0 V: off now", Basis.MEMORY, high=16.0, unit="V"
    )
    yield CardLine(
        "field", "Does the ECU control the alternator's field?", "Ask. A donor map that never used it proves nothing.",
        "not known",
    )  # fmt: skip


def _not_adapted(result: Result) -> Iterator[CardLine]:
    for key, words in (
        ("ignition", "Ignition"),
        ("idle_air", "Idle air"),
        ("boost", "Boost"),
        ("cams", "Cams"),
        ("trigger", "Trigger"),
        ("afterstart", "Afterstart"),
        ("acceleration", "Acceleration"),
    ):
        yield CardLine(key, words)
    if fuel_changes(result.job):
        yield CardLine("cold_fuelling", "Cold fuelling (other fuel)")


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _or_unknown(words: str, value: float) -> str:
    return words if math.isfinite(value) else "not known"
