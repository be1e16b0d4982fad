"""The first-start card: what to read before and while the engine first runs, and when to stop.

Predictions are worth something because they are written down first. What is no prediction is common practice in the
trade and marked as such.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from basemap.companions import COLD_K, fuel_changes
from basemap.constants import ZERO_CELSIUS
from basemap.frozen import frozen
from basemap.model.axes import IndexArray
from basemap.model.card import Basis, Card, Line, Part
from basemap.model.companion import CompanionQuantity, CompanionResult, is_cranking
from basemap.model.ecu import Sensed, commanded_pulse
from basemap.model.hardware import delivery
from basemap.model.held import in_force
from basemap.model.installation import FloatArray, Injectors
from basemap.model.result import Result, Verdict
from basemap.model.sensor import Quantity
from basemap.physics.two_slope import mass_for
from basemap.rounding import percent_up, signed_percent
from basemap.rules.case import Case, around

CRANKING_V = (8.0, 9.0, 10.0)

PRACTICE_MARK = "*"
NOTES = (
    f"{PRACTICE_MARK} common practice in the trade, no source; what has no mark is worked out from the job.",
    "This card does not replace a qualified tuner, the makers' instructions, or local law on road vehicles.",
)


def first_start_card(result: Result) -> Card:
    """Work out the card of a job.

    Parameters
    ----------
    result
        Of `basemap.adapt`: the predictions hold for the new table with the settings to enter.
    """
    rules = ", ".join(dict.fromkeys(stop.rule for stop in result.stops))
    warning = f"STOP: do not start the engine on this map ({rules})." if result.verdict is Verdict.REFUSE else ""
    engine = result.job.target.engine
    return Card(
        title=result.job.title,
        warning=warning,
        parts=(
            Part("before", "Before turning the key", tuple(_before(result)), ticks=True),
            Part("key_on", "Key on, engine off", tuple(_key_on(result))),
            Part("cranking", "Cranking", tuple(_cranking(result))),
            Part("idle", f"Idle: {engine.idle_rpm:g} rpm, warm, all trims off", tuple(_idle(result))),
            Part("charging", "Charging", tuple(_charging())),
            Part("not_adapted", "Not adapted: tick what somebody qualified has set", tuple(_not_adapted(result)), True),
        ),
        notes=NOTES,
    )


def _before(result: Result) -> Iterator[Line]:
    # The donor's table is the file whose original must not be lost; the job file stands beside it.
    table = next((source for source in result.job.sources if not source.file.endswith(".toml")), None)
    noted = f" ({table.sha256[:12]}…)" if table is not None else ""
    yield Line("original_saved", f"Original file saved, its SHA-256 noted{noted}")
    yield Line("fuel_pressure", "Fuel pressure seen on a gauge; no leaks")
    yield Line("timing", "Ignition timing checked with a light, at fixed advance")
    yield Line("extinguisher", "Extinguisher at hand")
    yield Line("trims", "Adaptive trims cleared; closed loop off until the wideband is proved")


def _key_on(result: Result) -> Iterator[Line]:
    job = result.job
    barometer = job.target.conditions.barometer_pa / 1e3
    fitted = {sensor.name: sensor.fitted for sensor in result.sensors if sensor.fitted is not None}
    volts = ""
    if "map" in fitted:
        at = float(fitted["map"].volts_at(barometer * 1e3))
        volts = f", {at:.2f} V" if math.isfinite(at) else ""
    yield Line(
        "map", "MAP = barometer", f"{barometer:.1f} kPa ± 3{volts}", "outside",
        value=barometer, low=barometer - 3.0, high=barometer + 3.0, unit="kPa",
    )  # fmt: skip
    yield Line("cold_soaked", "ECT = IAT = ambient", "± 3 K, cold-soaked 8 h", "outside", low=-3.0, high=3.0, unit="K")
    yield Line("battery_at_rest", "Battery", "12.2 V or more", "< 12.2 V", "< 11.5 V", low=12.2, unit="V")
    yield Line("tp", "TP", "0 and 100 %, end stops learnt", "other")
    wideband = next((sensor for sensor in result.sensors if sensor.quantity is Quantity.LAMBDA and sensor.fitted), None)
    points = ""
    if wideband is not None and wideband.fitted is not None:
        low, high = (float(volt) for volt in wideband.fitted.volts_at(np.array([0.8, 1.2])))
        points = f": λ 0.8 at {low:.2f} V, 1.2 at {high:.2f} V" if math.isfinite(low + high) else ""
    yield Line("wideband", "Wideband, once warm", f"right at two points{points}", "one point only")


def _cranking(result: Result) -> Iterator[Line]:
    job = result.job
    yield Line("battery", "Battery", "8 to 11 V", "< 9.0 V", "< 8.0 V", low=8.0, high=11.0, unit="V")
    dead = job.target.injectors.dead_time
    # Cranking the manifold stands at the barometer, so that either regulator leaves the full rail pressure.
    times = dead.at(np.array(CRANKING_V), job.target.fuel.rail_pressure_pa) * 1e3
    pulses = cranking_pulses_ms(result)
    yield _cranking_pulse(result, pulses)
    beyond = " (extrapolated)" if CRANKING_V[0] < dead.battery_v[0] else ""
    yield Line(
        "dead_time", "Dead time at 8, 9, 10 V", f"{_listed(times)} ms{beyond}",
        basis=Basis.PREDICTED, low=float(times[-1]), high=float(times[0]), unit="ms",
    )  # fmt: skip
    steepest = float(times[0] - times[1])
    table = _cranking_table(result)
    inside = pulses is not None and table is not None and table.table.target.inside.dead_time
    mixture = ""
    if pulses is not None:
        delivers = float(pulses[1] - times[1]) if inside else float(pulses[0] - times[0])
        left = _over_what_is_left(job.target.injectors, delivers * 1e-3, steepest * 1e-3)
        mixture = f": λ {signed_percent(left)}"
    words = "Battery 8 V, not 9 V" if inside else "8 V read as 9 V"
    yield Line(
        "dead_time_per_volt", words, f"{steepest:.2f} ms of every pulse{mixture}",
        basis=Basis.PREDICTED, value=steepest, unit="ms/V",
    )  # fmt: skip


def _cranking_pulse(result: Result, pulses: FloatArray | None) -> Line:
    cold = result.job.target.engine.coldest_start_k - ZERO_CELSIUS
    if pulses is None:
        why = "no cranking table" if _cranking_table(result) is None else "no cranking table over coolant temperature"
        return Line(
            "pulse", "Pulse at 8, 9, 10 V", f"not predicted: the job has {why}", basis=Basis.PREDICTED, unit="ms"
        )
    band = _band_at_coldest(result)
    sure = "" if math.isnan(band) else f", λ ±{percent_up(band)} %" if math.isfinite(band) else ", λ not known"
    calibrate = ", calibrate" if fuel_changes(result.job) and cold < COLD_K - ZERO_CELSIUS else ""
    return Line(
        "pulse", f"Pulse, {cold:g} °C, 8, 9, 10 V", f"{_listed(pulses)} ms{sure}{calibrate}",
        basis=Basis.PREDICTED, low=float(pulses.min()), high=float(pulses.max()), unit="ms",
    )  # fmt: skip


def _cranking_table(result: Result) -> CompanionResult | None:
    """The first table of pulses whose name says that it is for cranking."""
    pulses = (one for one in result.companions if one.quantity is CompanionQuantity.PULSE_WIDTH)
    return next((one for one in pulses if is_cranking(one.name)), None)


def _cranking_over_coolant(result: Result) -> tuple[CompanionResult, FloatArray, IndexArray] | None:
    """The cranking table where it is over coolant temperature, its points in K, rising, and their places in it."""
    found = _cranking_table(result)
    axis = found.table.axis if found is not None else None
    if found is None or axis is None or axis.coolant_k is None:
        return None
    order = np.argsort(axis.coolant_k)
    return found, axis.coolant_k[order], order


def cranking_pulses_ms(result: Result) -> FloatArray | None:
    """Commanded pulse while cranking at `CRANKING_V` and the coldest start, ms; `None` where no table says it.

    Where the ECU adds the dead time it follows the battery; where that is inside the cells the pulse stays.
    """
    over_coolant = _cranking_over_coolant(result)
    if over_coolant is None:
        return None
    found, coolant_k, order = over_coolant
    pulse = float(np.interp(result.job.target.engine.coldest_start_k, coolant_k, found.pulse_s[order]))
    if math.isnan(pulse):
        return None
    volts = np.array(CRANKING_V)
    if found.table.target.inside.dead_time:
        return np.full(volts.shape, pulse * 1e3)
    told = in_force(result.job).new
    return np.asarray((pulse + told.dead_time_s(volts) - told.dead_time_s(found.battery_v)) * 1e3)


def _band_at_coldest(result: Result) -> float:
    """The wider of the bands (k = 2) of λ between which the coldest start lies, relative; NaN where none is known."""
    over_coolant = _cranking_over_coolant(result)
    if over_coolant is None:
        return math.nan
    found, coolant_k, order = over_coolant
    near = order[around(coolant_k, result.job.target.engine.coldest_start_k)]
    return float(np.max(result.band.further[found.name].expanded[near]))


def _listed(values_ms: FloatArray) -> str:
    return ", ".join(f"{value:.2f}" for value in values_ms)


@frozen
class IdlePoint:
    """The idle point with the new table and the settings to enter; NaN for what cannot be.

    Parameters
    ----------
    pulse_s, duty
        Commanded pulse, s, and duty, a fraction.
    intended_lambda, relative_band
        λ wanted, and its expanded uncertainty (k = 2), relative.
    read_high, read_low
        λ ratio where the battery is read 1 V too high and 1 V too low; where the ECU adds no dead time, where the
        battery is 1 V lower and 1 V higher than the table was made for.
    """

    pulse_s: float
    duty: float
    intended_lambda: float
    relative_band: float
    read_high: float
    read_low: float


def idle_point(result: Result) -> IdlePoint:
    """Work out what to expect at the idle point: the ECU reads between its cells, at the pressure there."""
    case, job, table = Case(result), result.job, result.table
    if case.counts_air:
        # How much of the air that the axis counts idle takes is not known, so no cell is.
        return IdlePoint(*(math.nan,) * 6)
    engine, settings, volts = job.target.engine, in_force(job).new, job.target_table.battery_v
    cell = np.array([[case.at_idle(table.stored) * job.shown.per_unit]])
    intended = np.array([[case.at_idle(np.broadcast_to(job.target_table.intended_lambda, table.new.shape))]])
    here = replace(
        job.target_table,
        values=cell,
        rpm=np.array([engine.idle_rpm]),
        load_pa=np.array([engine.idle_pressure_pa]),
        own_pressure_pa=None,
        intended_lambda=intended,
    )
    at = delivery(job.target, here.pressure_pa, here.rpm, volts)
    sensed = Sensed(at.pressure_across_pa, job.target.conditions.charge_temperature_k, volts)
    pulse = float(commanded_pulse(cell, here, intended, settings, sensed).item())
    injectors, effective = job.target.injectors, pulse - float(at.dead_time_s.item())
    around = np.array([volts - 1.0, volts, volts + 1.0])
    if here.inside.dead_time:
        low, same, high = job.target.injectors.dead_time.at(around, float(at.pressure_across_pa.item()))
        lost_high, lost_low = float(low - same), float(high - same)
    else:
        low, same, high = settings.dead_time_s(around)
        if settings.battery_factor is not None:
            factors = settings.battery_factor.at(around)
            low, same, high = (pulse * factors / factors[1]).tolist()
        lost_high, lost_low = float(same - high), float(same - low)
    return IdlePoint(
        pulse_s=pulse,
        duty=pulse / float(at.window_s.item()),
        intended_lambda=float(intended.item()),
        relative_band=case.at_idle(result.band.adapted),
        read_high=_over_what_is_left(injectors, effective, lost_high),
        read_low=_over_what_is_left(injectors, effective, lost_low),
    )


def _over_what_is_left(injectors: Injectors, effective_s: float, lost_s: float) -> float:
    """λ ratio of a pulse that has lost so much of what delivers; +∞ where nothing is left."""
    if math.isnan(effective_s):
        return math.nan
    whole, left = effective_s, effective_s - lost_s
    if injectors.two_slope is not None:
        whole, left = (float(mass_for(time, 0.0, injectors.two_slope.to_high)) for time in (whole, left))
    if injectors.added_time is not None:
        whole, left = (float(injectors.added_time.by_line(np.asarray(time))) for time in (whole, left))
    return whole / left if left > 0 else math.inf


def _idle(result: Result) -> Iterator[Line]:
    job, point = result.job, idle_point(result)
    pressure = job.target.engine.idle_pressure_pa / 1e3
    assumed = " (assumed)" if any(one.key == "target.engine.idle" for one in job.assumed) else ""
    predicted = Basis.PREDICTED
    yield Line("map", "MAP", f"{pressure:.4g} kPa{assumed}", basis=predicted, value=pressure,
               unit="kPa")  # fmt: skip
    pulse, duty = point.pulse_s * 1e3, 100.0 * point.duty
    said = _or_unknown(f"{pulse:.2f} ms", pulse)
    if Case(result).counts_air:
        said = "not predicted: the load axis does not say how much air idle takes"
    yield Line("pulse", "Pulse", said, basis=predicted, value=_known(pulse), unit="ms")
    yield Line("duty", "Duty", _or_unknown(f"{duty:.1f} %", duty), basis=predicted, value=_known(duty), unit="%")
    wanted, band = point.intended_lambda, point.relative_band
    # Printed wider than it is, never narrower.
    low, high = wanted * (1.0 - band), wanted * (1.0 + band)
    words = f"{wanted:.2f}, {math.floor(100 * low) / 100:.2f} to {math.ceil(100 * high) / 100:.2f} (k = 2)" if (
        math.isfinite(low + high)
    ) else "not known"  # fmt: skip
    yield Line("lambda", "λ", words, "outside", basis=predicted, value=_known(wanted), low=_known(low),
               high=_known(high))  # fmt: skip
    inside = job.target_table.inside.dead_time
    which = "Battery 1 V low / high" if inside else "1 V read high / low"
    lean, rich = signed_percent(point.read_high), signed_percent(point.read_low)
    yield Line(
        "lambda_per_volt", which, f"λ {lean} / {rich}", basis=predicted,
        value=_known(100.0 * (point.read_high - 1.0)), low=_known(100.0 * (point.read_low - 1.0)),
        high=_known(100.0 * (point.read_high - 1.0)), unit="%",
    )  # fmt: skip


def _charging() -> Iterator[Line]:
    yield Line("battery", "Battery", "13.2 to 14.8 V", "< 13.0 V after 30 s, > 15.0 V for 2 s",
               "> 15.5 V for 1 s: engine off", low=13.2, high=14.8, unit="V")  # fmt: skip
    yield Line("overvoltage", "Battery", "never above 16 V", "", "> 16.0 V: off now", Basis.MEMORY, high=16.0, unit="V")
    yield Line(
        "field", "Does the ECU control the alternator's field?", "Ask. A donor map that never used it proves nothing.",
        "not known",
    )  # fmt: skip


def _not_adapted(result: Result) -> Iterator[Line]:
    for key, words in (
        ("ignition", "Ignition"),
        ("idle_air", "Idle air"),
        ("boost", "Boost"),
        ("cams", "Cams"),
        ("trigger", "Trigger"),
        ("afterstart", "Afterstart"),
        ("acceleration", "Acceleration"),
    ):
        yield Line(key, words)
    if fuel_changes(result.job):
        yield Line("cold_fuelling", "Cold fuelling (other fuel)")


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _or_unknown(words: str, value: float) -> str:
    return words if math.isfinite(value) else "not known"
