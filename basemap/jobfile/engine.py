"""``[conditions]`` and ``[….engine]``."""

from __future__ import annotations

from typing import NamedTuple

from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.constants import LAPSE_RATE, R_DRY_AIR, STANDARD_GRAVITY, STANDARD_TEMPERATURE, ZERO_CELSIUS
from basemap.errors import InputError
from basemap.jobfile.provenance import Provenance, default_quantity
from basemap.jobfile.quantities import Measured
from basemap.jobfile.schema import HOW_THROTTLES
from basemap.jobfile.schema import ConditionsSection as Section
from basemap.jobfile.sections import StatedSide
from basemap.model.installation import Conditions, Cycle, Engine, Induction, Throttles
from basemap.physics.air import standard_pressure
from basemap.physics.work import torque_of_power

AGREEMENT_PA = 4000.0
"""How far the weather can take a barometer from its altitude's standard pressure: further off it is a sea-level figure.
"""


def build_conditions(side: StatedSide, shared: Section) -> Conditions:
    """Conditions of one side: its own keys, else those of the whole job, else the defaults."""
    barometer_pa = _barometer(side, shared)
    charge_k = _value(side, shared, "charge_temperature", "charge temperature")
    battery_v = _value(side, shared, "battery", "battery")
    return Conditions(barometer_pa, charge_k, battery_v, _charge_range(side, charge_k))


def _charge_range(side: StatedSide, charge_k: float) -> tuple[float, float] | None:
    stated = side.conditions.charge_temperature_range
    if stated is None:
        return None
    cold, hot = stated[0].value, stated[1].value
    if not cold <= charge_k <= hot:
        raise side.error(
            "conditions.charge_temperature_range",
            f'"{stated[0].text} to {stated[1].text}" does not include the charge temperature that the table is made '
            f"for, {charge_k - ZERO_CELSIUS:.4g} degC: correct one of the two",
        )
    return cold, hot


def _value(side: StatedSide, shared: Section, key: str, default: str) -> float:
    own: Measured | None = getattr(side.conditions, key)
    both: Measured | None = getattr(shared, key)
    measured = own or both or _default(side.provenance, default, f"conditions.{key}")
    return measured.value


def _default(provenance: Provenance, name: str, key: str) -> Measured:
    """A default of the conditions, listed as assumed once for both sides."""
    listed = any(assumption.key == key for assumption in provenance.assumed)
    measured = default_quantity(DEFAULTS[name]) if listed else provenance.assume(name, key)
    assert measured is not None
    return measured


def _barometer(side: StatedSide, shared: Section) -> float:
    own = side.conditions.barometer is not None or side.conditions.altitude is not None
    section, place = (side.conditions, side.place("conditions")) if own else (shared, "conditions")
    if section.altitude is None:
        measured = section.barometer or _default(side.provenance, "barometer", "conditions.barometer")
        return measured.value
    standard = standard_pressure(section.altitude.value)
    if section.barometer is None:
        _keep_standard(side.provenance, f"{place}.barometer", section.altitude, standard)
        return standard
    if abs(section.barometer.value - standard) > AGREEMENT_PA:
        raise InputError(
            f'"{section.barometer.text}" contradicts altitude "{section.altitude.text}", where the barometer reads '
            f"about {standard / 1e3:.1f} kPa: it looks like a figure reduced to sea level; give the station "
            "pressure, or leave one of the two out",
            file=side.provenance.file,
            place=f"{place}.barometer",
        )
    return section.barometer.value


def _keep_standard(provenance: Provenance, key: str, altitude: Measured, standard_pa: float) -> None:
    """The barometer that follows from an altitude, as an input with the altitude's spread."""
    temperature_k = STANDARD_TEMPERATURE - LAPSE_RATE * altitude.value
    pascal_per_m = standard_pa * STANDARD_GRAVITY / (R_DRY_AIR * temperature_k)
    spread = None if altitude.half_width is None else altitude.half_width * pascal_per_m
    measured = Measured(
        text=f"{standard_pa / 1e3:.5g} kPa at {altitude.text}",
        value=standard_pa,
        shown=standard_pa / 1e3,
        unit="kPa",
        half_width=spread,
        k2=altitude.k2,
    )
    provenance.keep(key, measured, provenance.origin(key))


BOOST_MARGIN_PA = 5000.0
"""A pressure is boost if it exceeds the barometer by more than this."""


class TopRow(NamedTuple):
    """The highest load of a table, Pa, and the key that may be wrong instead if the engine has no boost."""

    pressure_pa: float
    or_correct: str


def build_engine(side: StatedSide, conditions: Conditions, top_row: TopRow) -> Engine:
    """One engine.

    Parameters
    ----------
    side
        Donor or target.
    conditions
        Of this side: gauge pressures refer to its barometer.
    top_row
        Of its table: with boost rows, the engine must say how it breathes.
    """
    engine = side.engine
    displacement, cylinders = swept_volume(side)
    if engine.displacement is None:
        side.assume("hardware as told", "engine.displacement", value=f"{displacement.text}, as the settings")
    barometer = conditions.barometer_pa
    peak = _pressure(side, engine.peak_pressure, "engine.peak_pressure", barometer)
    if engine.cycle is None:
        side.assume("cycle", "engine.cycle")
    idle = engine.idle or _target_default(side, "idle", "engine.idle")
    cranking = engine.cranking or _target_default(side, "cranking", "engine.cranking")
    coldest = engine.coldest_start or _target_default(side, "coldest start", "engine.coldest_start")
    assert idle.second is not None
    idle_pressure = side.absolute(idle.second, "engine.idle", barometer)
    _check_idle(side, idle, idle_pressure, barometer)
    _check_makers_figures(side)
    return Engine(
        displacement_m3=displacement.value,
        cylinders=cylinders,
        cycle=Cycle(engine.cycle or "four-stroke"),
        induction=_induction(side, peak, barometer, top_row),
        compression_ratio=_number(engine.compression_ratio),
        rev_limit_rpm=_number(engine.rev_limit),
        peak_pressure_pa=peak,
        rated_power_w=_number(engine.rated_power),
        rated_speed_rpm=_number(engine.rated_power.second if engine.rated_power else None),
        peak_torque_nm=_number(engine.peak_torque),
        peak_torque_speed_rpm=_number(engine.peak_torque.second if engine.peak_torque else None),
        load_cut_pa=_pressure(side, engine.load_cut, "engine.load_cut", barometer),
        rev_cut_rpm=_number(engine.rev_cut),
        idle_rpm=idle.value,
        idle_pressure_pa=idle_pressure,
        cranking_rpm=cranking.value,
        coldest_start_k=coldest.value,
        inlet_valve_area_m2=_number(engine.inlet_valve_area),
        firing_order=_firing_order(side, cylinders),
        trigger=engine.trigger,
        throttles=_throttles(side, cylinders),
    )


def _check_idle(side: StatedSide, idle: Measured, pressure_pa: float, barometer_pa: float) -> None:
    """Refuse an idle at which no engine idles, and a limit that it would never reach.

    The rules judge idle there, and nothing beyond a limit: a limit below idle would leave nothing to be judged.
    """
    if side.name != "target":
        return
    engine, stated = side.engine, side.engine.idle is not None
    if pressure_pa >= barometer_pa and stated:
        raise side.error(
            "engine.idle",
            f'"{idle.text}" is {_kpa(pressure_pa)} absolute, which is not below the barometer of '
            f"{_kpa(barometer_pa)}: a warm engine idles at 25 to 60 kPa",
        )
    if stated and engine.cranking is not None and idle.value <= engine.cranking.value:
        said = f'"{idle.text}" is not above the cranking speed of "{engine.cranking.text}": correct one'
        raise side.error("engine.idle", said)
    for key in ("rev_limit", "rev_cut", "peak_pressure", "load_cut"):
        limit: Measured | None = getattr(engine, key)
        if limit is None:
            continue
        over_speed = key.startswith("rev")
        value = limit.value if over_speed else side.absolute(limit, f"engine.{key}", barometer_pa)
        if value <= (idle.value if over_speed else pressure_pa):
            whose = "the idle of" if stated else "the assumed idle of"
            raise side.error(
                f"engine.{key}",
                f'"{limit.text}" is not above {whose} "{idle.text}", so the engine would never leave idle: correct it, '
                "or state engine.idle",
            )


FIGURES_AGREE_WITHIN = 1.03
"""How far two figures of one maker may contradict each other: rounding, and hp for PS. Common practice, no source."""


def _check_makers_figures(side: StatedSide) -> None:
    """Refuse a rated power and a peak torque that one engine cannot have, by P = M·ω."""
    power, torque = side.engine.rated_power, side.engine.peak_torque
    if power is None or torque is None or power.second is None or torque.second is None:
        return
    at_rated, at_peak = (torque_of_power(power.value, speed.value) for speed in (power.second, torque.second))
    figures = f'"{torque.text}" contradicts rated_power = "{power.text}"'
    if at_rated > FIGURES_AGREE_WITHIN * torque.value:
        raise side.error(
            "engine.peak_torque",
            f"{figures}, which takes {at_rated:.3g} Nm: the peak cannot be less; correct the wrong one",
        )
    if torque.value > FIGURES_AGREE_WITHIN * at_peak:
        kw = power.value * torque.value / at_peak / 1e3
        raise side.error(
            "engine.peak_torque",
            f"{figures}: it makes {kw:.3g} kW there, and the rated power is the most that an engine makes; "
            "correct the wrong one",
        )


def swept_volume(side: StatedSide) -> tuple[Measured, int]:
    """Displacement and cylinders; a donor's settings stand in for its hardware if only they are known."""
    displacement = side.engine.displacement or side.settings_for_hardware.displacement
    if displacement is None:
        raise side.error(
            "engine.displacement",
            'missing: this is never assumed; give the displacement of all cylinders together, such as "1998 cc"',
        )
    if side.engine.cylinders is None:
        raise side.error("engine.cylinders", "missing: this is never assumed; give the number of cylinders, such as 4")
    return displacement, side.engine.cylinders


def _firing_order(side: StatedSide, cylinders: int) -> str | None:
    order = side.engine.firing_order
    count = cylinders if order is None else len(order.split("-"))
    if count != cylinders:
        raise side.error(
            "engine.firing_order",
            f'"{order}" has {count} cylinders, but the engine has {cylinders}: correct one of them',
        )
    return order


def _throttles(side: StatedSide, cylinders: int) -> Throttles | None:
    """The throttles of an engine; `None` if the job does not say."""
    single, several = side.engine.throttle_bore, side.engine.throttles
    if single is not None and several is not None:
        raise side.error("engine.throttle_bore", "is given together with throttles: give only one of the two")
    if single is not None:
        return Throttles(1, single.value, cylinders)
    if several is None:
        return None
    for key in ("count", "bore", "feeds"):
        if getattr(several, key) is None:
            raise side.error(f"engine.throttles.{key}", f"missing: give count, bore and feeds: {HOW_THROTTLES}")
    assert several.count is not None
    assert several.bore is not None
    assert several.feeds is not None
    if several.feeds > cylinders or several.count * several.feeds % cylinders:
        throttles = "1 throttle that feeds" if several.count == 1 else f"{several.count} throttles that each feed"
        fed = "1 cylinder" if several.feeds == 1 else f"{several.feeds} cylinders"
        raise side.error(
            "engine.throttles.feeds",
            f"an engine of {cylinders} cylinders cannot have {throttles} {fed}: feeds is the number of cylinders that "
            f"draw through each throttle, 1 if every cylinder has its own, {cylinders} if all share one manifold",
        )
    return Throttles(several.count, several.bore.value, several.feeds)


def _number(measured: Measured | None) -> float | None:
    return None if measured is None else measured.value


def _pressure(side: StatedSide, measured: Measured | None, key: str, barometer_pa: float) -> float | None:
    return None if measured is None else side.absolute(measured, key, barometer_pa)


def _target_default(side: StatedSide, name: str, key: str) -> Measured:
    """A default of a key that only the target has: nobody starts the donor."""
    measured = (
        side.provenance.assume(name, side.place(key)) if side.name == "target" else default_quantity(DEFAULTS[name])
    )
    assert measured is not None
    return measured


def _induction(side: StatedSide, peak_pa: float | None, barometer_pa: float, top_row: TopRow) -> Induction:
    said, boost = side.engine.induction, barometer_pa + BOOST_MARGIN_PA
    if said is None:
        if peak_pa is not None and peak_pa > boost:
            raise side.error(
                "engine.induction",
                f"missing: the peak pressure of {_kpa(peak_pa)} is above the barometer of {_kpa(barometer_pa)}; say "
                '"boosted", or correct the peak pressure',
            )
        if top_row.pressure_pa > boost:
            raise side.error(
                "engine.induction",
                f"missing: the table has rows up to {_kpa(top_row.pressure_pa)}, above the barometer of "
                f'{_kpa(barometer_pa)}; say "atmospheric" or "boosted", or correct {top_row.or_correct}',
            )
        side.assume("induction", "engine.induction")
        return Induction.ATMOSPHERIC
    if said == Induction.BOOSTED:
        _check_boosted(side, peak_pa, barometer_pa)
    elif peak_pa is not None and peak_pa > boost:
        raise side.error(
            "engine.peak_pressure",
            f"{_kpa(peak_pa)} absolute is above the barometer of {_kpa(barometer_pa)}, which no atmospheric engine "
            'exceeds: correct it, or say induction = "boosted"',
        )
    return Induction(said)


def _check_boosted(side: StatedSide, peak_pa: float | None, barometer_pa: float) -> None:
    if peak_pa is None:
        raise side.error(
            "engine.peak_pressure",
            'missing: for a boosted engine give the highest manifold pressure that it will reach, such as "180 kPa"',
        )
    if peak_pa <= barometer_pa:
        raise side.error(
            "engine.peak_pressure",
            f"{_kpa(peak_pa)} absolute is not above the barometer of {_kpa(barometer_pa)}, but the engine is boosted: "
            'if this is boost pressure, write "gauge" after it',
        )


def _kpa(pressure_pa: float) -> str:
    return f"{pressure_pa / 1e3:.4g} kPa"
