"""Rules on sensor scales: a wrong scale is a wrong mixture. They look only at the sensors that a job states."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from basemap.constants import SAME, ZERO_CELSIUS
from basemap.model.finding import Scope, Severity
from basemap.model.sensor import SensorComparison, SensorQuantity, SensorResult
from basemap.rounding import off, rounded_down, rounded_up, without_noise
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Missing, Rule, Trip

LAMBDA_OFF = 0.03
LAMBDA_FROM, LAMBDA_TO = 0.7, 1.2
PRESSURE_OFF = 0.03
TEMPERATURE_OFF_K = 5.0
BOOST_MARGIN = 0.10
_NOISE = 1e-9  # rounding by which two equal errors may differ

_ENTER = (
    "1. Keep closed loop off until the scale is proved. 2. Enter the table that `basemap sensors` prints, and read it "
    "back. 3. Prove it at two points, never at one."
)


def scale_differs(case: Case) -> bool:
    """Whether the mixture would be off by the MAP or wideband scale if the map were loaded as it is."""
    return any(
        sensor.as_loaded is not None and _off(sensor, sensor.as_loaded) is not None
        for sensor in case.computed.sensors
        if _is_map(sensor) or _is_wideband(sensor)
    )


def _is_map(sensor: SensorResult) -> bool:
    return sensor.name == "map"


def _is_wideband(sensor: SensorResult) -> bool:
    return sensor.quantity is SensorQuantity.LAMBDA


def _off(sensor: SensorResult, reading: SensorComparison) -> tuple[int, float] | None:
    """Index and size of the largest error in the judged range; `None` if it is within the limit of its quantity."""
    indices = np.flatnonzero(reading.judged)
    if not indices.size:
        return None
    if _is_map(sensor):
        assert reading.lambda_ratio is not None
        sizes, limit = np.abs(reading.lambda_ratio - 1.0), PRESSURE_OFF
    else:
        sizes = np.abs(reading.error)
        limit = LAMBDA_OFF if _is_wideband(sensor) else TEMPERATURE_OFF_K
    largest = float(sizes[indices].max())
    worst = int(indices[np.flatnonzero(sizes[indices] >= largest - _NOISE)[0]])
    size = round(largest, 9)
    return (worst, size) if size > limit * (1.0 + SAME) else None


def _when(sensor: SensorResult) -> tuple[tuple[SensorComparison, str, bool], ...]:
    """The comparisons to judge, each with its words, and whether it is for the untouched map."""
    if sensor.as_loaded is None or sensor.entered is None:
        return ()
    if sensor.stuck:
        return ((sensor.as_loaded, "The scale stays as it is (cannot_be_told names it), and", False),)
    count = len(sensor.points)
    return (
        (sensor.entered, f"With the table entered on the map's own {count} voltages,", False),
        (sensor.as_loaded, "If loaded as it is,", True),
    )


def _missing(sensor: SensorResult, what: str) -> Iterator[Missing]:
    if sensor.fitted is None:
        yield Missing((f"target.sensors.{sensor.name}",), f"The scale of the fitted {what} is not known.")
    elif sensor.held is None:
        yield Missing((f"donor.sensors.{sensor.name}",), f"The scale that the map holds for the {what} is not known.")


def _shown(sensor: SensorResult, value: float) -> str:
    return f"{float(sensor.shown.of(value)):.4g} {sensor.shown.unit}".strip()


def _reads(sensor: SensorResult, reading: SensorComparison, index: int) -> str:
    true, read = float(reading.true[index]), float(reading.read[index])
    return (
        f"{sensor.name} reads {_shown(sensor, read)} at {reading.volts[index]:.3g} V, where the fitted sensor means "
        f"{_shown(sensor, true)}"
    )


def _ends(reading: SensorComparison) -> str:
    ends = reading.ratio_ends(reading.judged)
    if ends is None:
        return ""
    low, high = map(without_noise, ends)
    return f"from {rounded_down(low, 3)} to {rounded_up(high, 3)} times the intended"


def _map_scale(case: Case) -> Iterator[Answer]:
    for sensor in filter(_is_map, case.computed.sensors):
        yield from _missing(sensor, "manifold pressure sensor")
        for reading, when, as_loaded in _when(sensor):
            if (found := _off(sensor, reading)) is None:
                continue
            index, size = found
            assert reading.lambda_ratio is not None
            yield Trip(
                Severity.CAUTION if as_loaded else Severity.STOP,
                f"{when} {_reads(sensor, reading, index)}: this alone gives {off(float(reading.lambda_ratio[index]))} "
                f"(limit {100 * PRESSURE_OFF:g} %); λ is {_ends(reading)}.",
                as_loaded=as_loaded,
                value=100.0 * size,
                limit=100.0 * PRESSURE_OFF,
            )


MAP_SCALE = Rule(
    name="map-scale",
    title="Scale of the manifold pressure sensor",
    threshold=f"The sensor misreads the pressure so far that λ is more than {100 * PRESSURE_OFF:g} % off anywhere "
    "from the table's lowest load to the peak pressure: stop once the scale is entered (or where it cannot be "
    "entered); caution with the map as it is.",
    why="The ECU meters fuel for the pressure that it reads; the engine draws air at the real one.",
    source=PRACTICE,
    remedy="1. Enter the table that `basemap sensors` prints, and read it back. 2. Compare the reading with the "
    "barometer, engine off, and with a second known pressure.",
    judge=_map_scale,
    can_stop=True,
    about_table=False,
)


def _wideband(case: Case) -> Iterator[Answer]:
    for sensor in filter(_is_wideband, case.computed.sensors):
        yield from _missing(sensor, "wideband")
        for reading, when, as_loaded in _when(sensor):
            if (found := _off(sensor, reading)) is None:
                continue
            index, size = found
            yield Trip(
                Severity.CAUTION if as_loaded else Severity.STOP,
                f"{when} {_reads(sensor, reading, index)}: {rounded_up(size, 3)} λ off (limit {LAMBDA_OFF:g} from λ "
                f"{LAMBDA_FROM:g} to {LAMBDA_TO:g}); in closed loop λ would be "
                f"{_ends(reading)}.",
                as_loaded=as_loaded,
                value=size,
                limit=LAMBDA_OFF,
            )
        yield from _uncovered(sensor)


def _uncovered(sensor: SensorResult) -> Iterator[Trip]:
    """A range of λ that the maker's points do not cover, and that therefore is not judged."""
    if sensor.fitted is None or sensor.held is None:
        return
    low, high = float(sensor.fitted.values.min()), float(sensor.fitted.values.max())
    if low > LAMBDA_FROM * (1.0 + SAME) or high * (1.0 + SAME) < LAMBDA_TO:
        yield Trip(
            Severity.CAUTION,
            f"The points of target.sensors.{sensor.name} reach from λ {low:.3g} to {high:.3g}: from there to λ "
            f"{LAMBDA_FROM:g} and {LAMBDA_TO:g} the scale is not judged.",
            f"State the maker's points from λ {LAMBDA_FROM:g} to {LAMBDA_TO:g} and run again.",
        )


WIDEBAND_SCALE = Rule(
    name="wideband-scale",
    title="Scale of the wideband",
    threshold=f"More than {LAMBDA_OFF:g} λ off anywhere from λ {LAMBDA_FROM:g} to {LAMBDA_TO:g}: stop, for closed "
    "loop, once the scale is entered (or where it cannot be entered); caution with the map as it is. Points that do "
    "not span that range: caution.",
    why="Closed loop brings the reading to the intended λ, whatever the real mixture is; anybody who tunes by that "
    "reading tunes wrong.",
    source=PRACTICE,
    remedy=_ENTER,
    judge=_wideband,
    can_stop=True,
    about_table=False,
)


def _map_range(case: Case) -> Iterator[Answer]:
    for sensor in filter(_is_map, case.computed.sensors):
        if sensor.fitted is None:
            continue
        top = float(sensor.fitted.values.max())
        if sensor.in_force is not None:
            top = min(top, float(sensor.in_force.read.max()))
        if case.boosted:
            yield from _boosted(case, top)
        elif top * (1.0 + SAME) < case.barometer_pa:
            yield Trip(
                Severity.CAUTION,
                f"map reads up to {case.load(top)} and the barometer is {case.load(case.barometer_pa)}: the ECU "
                "cannot see full load.",
                value=top / 1e3,
                limit=case.barometer_pa / 1e3,
            )


def _boosted(case: Case, top: float) -> Iterator[Trip]:
    peak = case.job.target.hardware.peak_pressure_pa
    needed = round((1.0 + BOOST_MARGIN) * peak, 3)
    if top * (1.0 + SAME) >= needed:
        return
    known = top / (1.0 + BOOST_MARGIN)
    yield Trip(
        Severity.STOP,
        f"map reads up to {case.load(top)}, and a peak of {case.load(peak)} needs {case.load(needed)} "
        f"({100 * BOOST_MARGIN:g} % more): above {case.load(known)} the boost may go beyond what the ECU can see.",
        f"1. Fit a sensor that reads to {case.load(needed)}, and enter its scale. 2. Or {case.cut_advice(known, None)}",
        scope=Scope.LIMIT,
        value=top / 1e3,
        limit=needed / 1e3,
        limit_load_pa=known,
    )


MAP_RANGE = Rule(
    name="map-range",
    title="Range of the manifold pressure sensor",
    threshold="Atmospheric engine: the range ends below the barometer: caution. Boosted engine: it ends below the "
    f"peak pressure + {100 * BOOST_MARGIN:g} %: limit stop at {100 * BOOST_MARGIN:g} % below its end.",
    why="Above the end of its range the sensor's reading stays put: the mixture goes leaner with every further step "
    "of boost.",
    source=PRACTICE,
    remedy="Fit a sensor that reads above the barometer everywhere the engine will go.",
    judge=_map_range,
    can_stop=True,
    about_table=False,
)


def _temperature(case: Case) -> Iterator[Answer]:
    for sensor in case.computed.sensors:
        if sensor.quantity is not SensorQuantity.TEMPERATURE:
            continue
        yield from _missing(sensor, "sensor")
        for reading, when, as_loaded in _when(sensor):
            if (found := _off(sensor, reading)) is None:
                continue
            index, size = found
            ends = _ends(reading)
            by, limit, where = _in_its_unit(sensor, size)
            yield Trip(
                Severity.CAUTION,
                f"{when} {_reads(sensor, reading, index)}: {by} off (limit {limit} from "
                f"{where}){f'; through this alone λ is {ends}' if ends else ''}.",
                as_loaded=as_loaded,
                value=size,
                limit=TEMPERATURE_OFF_K,
            )


def _in_its_unit(sensor: SensorResult, size_k: float) -> tuple[str, str, str]:
    """An error, its limit and the judged range, each with its unit; a difference in degrees Celsius is shown in K."""
    shown = sensor.shown
    unit = "K" if shown.difference(1.0) == 1.0 else shown.unit
    by, limit = (float(shown.difference(one)) for one in (size_k, TEMPERATURE_OFF_K))
    low, high = (float(shown.of(ZERO_CELSIUS + one)) for one in (-10.0, 100.0))
    return f"{rounded_up(by, 1)} {unit}", f"{limit:g} {unit}", f"{low:g} to {high:g} {shown.unit}"


TEMPERATURE_SENSOR = Rule(
    name="temperature-sensor",
    title="Scale of a temperature sensor",
    threshold=f"More than {TEMPERATURE_OFF_K:g} K off anywhere from -10 to 100 degC, with the map as it is or once "
    "the scale is entered: caution.",
    why="Charge temperature sets the density of the air; coolant temperature controls cold fuelling and fans.",
    source=PRACTICE,
    remedy="1. Enter the table that `basemap sensors` prints, with extra points where the curve bends between them. "
    "2. After a cold soak, compare the reading with a thermometer.",
    judge=_temperature,
    about_table=False,
)

SENSOR_RULES: tuple[str, ...] = (MAP_SCALE.name, WIDEBAND_SCALE.name, MAP_RANGE.name, TEMPERATURE_SENSOR.name)
"""Names of the rules of this module."""
