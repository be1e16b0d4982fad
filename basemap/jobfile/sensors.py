"""``[donor.sensors.NAME]`` and ``[target.sensors.NAME]``: what a voltage means to the map, and to the fitted sensor."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from basemap.adaptation.quantities.tables import SENSOR_ERRORS, SENSOR_VALUES
from basemap.errors import InputError
from basemap.jobfile import schema
from basemap.jobfile.provenance import Provenance
from basemap.jobfile.quantities import Measured, check_range, parse_quantity
from basemap.model.installation import FloatArray
from basemap.model.sensor import SensorKind, SensorScale, ShownIn
from basemap.physics.sensor import Thermistor
from basemap.physics.thermistor import steinhart_hart, temperature

KINDS_OF_NAME: dict[str, tuple[SensorKind, ...]] = {
    "wideband": (SensorKind.LAMBDA, SensorKind.AIR_FUEL_RATIO),
    "map": (SensorKind.PRESSURE,),
    "iat": (SensorKind.TEMPERATURE,),
    "ect": (SensorKind.TEMPERATURE,),
    "tps": (SensorKind.POSITION,),
}
"""Kinds that a sensor may be whose name the program knows."""

_THERMISTOR = ("resistance", "pull_up", "supply")
_EXAMPLES = {
    SensorKind.LAMBDA: '["0.5", "1.5"]',
    SensorKind.AIR_FUEL_RATIO: '["9.0", "19.0"]',
    SensorKind.PRESSURE: '["20 kPa", "105 kPa"]',
    SensorKind.TEMPERATURE: '["-20 degC", "20 degC", "100 degC"]',
    SensorKind.POSITION: "[0, 100]",
}
_DEFAULT_UNIT = {
    SensorKind.LAMBDA: ShownIn("λ", 1.0),
    SensorKind.PRESSURE: ShownIn("kPa", 1e3),
    SensorKind.TEMPERATURE: ShownIn("degC", 1.0, 273.15),
    SensorKind.POSITION: ShownIn("%", 0.01),
}


class _StatedSensor(NamedTuple):
    """One sensor's section, where it stands, and the barometer of its side."""

    provenance: Provenance
    place: str
    name: str
    section: schema.Sensor
    barometer_pa: float

    def error(self, key: str, problem: str) -> InputError:
        place = f"{self.place}.{key}" if key else self.place
        return InputError(problem, file=self.provenance.file, place=place)

    @property
    def has_scale(self) -> bool:
        """Whether it states more than its error."""
        return bool(self.section.model_fields_set - {"error", "notes"})

    def keep_error(self) -> None:
        """Keep its error as an input of the band."""
        if self.section.error is None:
            return
        if self.name not in SENSOR_ERRORS:
            used = 'only the spreads of "map", "iat" and "tps" enter the band on the mixture'
            near = _near(self.name, SENSOR_ERRORS)
            raise self.error(
                "error", f'is not used: did you mean the sensor "{near}"? {used[0].upper()}{used[1:]}'
                if near else f"is not used: {used}; leave it out",
            )  # fmt: skip
        within = SENSOR_ERRORS[self.name]
        try:
            measured = parse_quantity(self.section.error, within.kind, file=None, place=None)
            check_range(measured, within)
        except InputError as error:
            raise self.error("error", error.problem) from None
        key = f"{self.place}.error"
        self.provenance.keep(key, replace(measured, half_width=measured.value, k2=True), self.provenance.origin(key))

    def scale(self) -> SensorScale:
        kind = self._kind()
        basis = self._basis(kind)
        if self.section.value is None:
            raise self.error("value", f"missing: give what it reads at its points, such as value = {_EXAMPLES[kind]}")
        entries = self._entries(kind, self.section.value)
        values = np.array([entry.value for entry in entries]) / basis
        shown = _shown(kind, entries, basis)
        if any(getattr(self.section, key) is not None for key in _THERMISTOR):
            return self._thermistor(kind, values, shown)
        return self._points(kind, values, shown)

    def _kind(self) -> SensorKind:
        if self.section.kind is None:
            raise self.error(
                "kind", 'missing: write "lambda", "air/fuel ratio", "pressure", "temperature" or "position"'
            )
        kind, allowed = SensorKind(self.section.kind), KINDS_OF_NAME.get(self.name, tuple(SensorKind))
        if kind not in allowed:
            either = " or ".join(f'"{one}"' for one in allowed)
            raise self.error(
                "kind", f'"{kind}" contradicts the name "{self.name}": write {either}, or give the sensor another name'
            )
        return kind

    def _basis(self, kind: SensorKind) -> float:
        """What the value is divided by: the stoichiometric ratio that an air/fuel scale means."""
        basis = self.section.basis
        if kind is SensorKind.AIR_FUEL_RATIO:
            if isinstance(basis, Measured):
                return basis.value
            why = "missing: " if basis is None else f'"{basis}" is not enough: '
            raise self.error("basis", f"{why}give the stoichiometric ratio of the scale, such as 14.7")
        if isinstance(basis, Measured) or basis == "fuel in use":
            raise self.error("basis", f"a ratio is only for a scale in air/fuel ratio, and this one is a {kind}")
        return 1.0

    def _entries(self, kind: SensorKind, written: tuple[object, ...]) -> list[Measured]:
        return [self._entry(kind, index, value) for index, value in enumerate(written, start=1)]

    def _entry(self, kind: SensorKind, index: int, value: object) -> Measured:
        within = SENSOR_VALUES[kind]
        try:
            measured = parse_quantity(value, within.kind, file=None, place=None, barometer_pa=self.barometer_pa)
            _refuse_the_other_scale(kind, measured)
            check_range(measured, within)
        except InputError as error:
            raise self.error("value", f"entry {index} of the list: {error.problem}") from None
        return measured

    def _points(self, kind: SensorKind, values: FloatArray, shown: ShownIn) -> SensorScale:
        if self.section.volts is None:
            also = ", or resistance, pull_up and supply of a thermistor" if kind is SensorKind.TEMPERATURE else ""
            raise self.error("volts", f'missing: give the voltages of its points, such as ["0.5 V", "4.5 V"]{also}')
        volts = np.array([entry.value for entry in self.section.volts])
        self._one_for_each(values, volts, "voltages")
        order = np.argsort(volts)
        volts, values = volts[order], values[order]
        for low, high in pairwise(volts):
            if low == high:
                raise self.error("volts", f"{low:.4g} V is given twice: give every point once")
        self._one_way(values, shown, [f"{one:.4g} V" for one in volts])
        return SensorScale(kind, volts, values, shown)

    def _one_for_each(self, values: FloatArray, others: FloatArray, words: str) -> None:
        if values.size != others.size:
            raise self.error("value", f"expected one value for each of the {others.size} {words}, found {values.size}")

    def _one_way(self, values: FloatArray, shown: ShownIn, at: list[str]) -> None:
        """Refuse a scale that turns round or stands still: two voltages would then mean the same."""
        steps = np.sign(np.diff(values))
        wrong = np.flatnonzero(steps != steps[0]) if steps[0] else np.array([0])
        if wrong.size:
            first = int(wrong[0])
            one, other = (f"{float(shown.of(values[i])):.4g} {shown.unit} at {at[i]}" for i in (first, first + 1))
            raise self.error(
                "value",
                f"from {one} to {other}: a scale must rise throughout or fall throughout; look for a typing error",
            )

    def _thermistor(self, kind: SensorKind, values: FloatArray, shown: ShownIn) -> SensorScale:
        section = self.section
        if kind is not SensorKind.TEMPERATURE:
            key = next(key for key in _THERMISTOR if getattr(section, key) is not None)
            raise self.error(key, f"is only for a thermistor, and this sensor reads a {kind}")
        if section.volts is not None:
            raise self.error("volts", "is given together with a thermistor's resistance: give only one of the two")
        for key, example in (
            ("resistance", 'give the resistances of its points, such as ["15970 ohm", "2500 ohm", "175 ohm"]'),
            ("pull_up", 'give the resistor that feeds the sensor, such as "2490 ohm"'),
            ("supply", 'give the supply voltage of the pull-up, such as "5 V"'),
        ):
            if getattr(section, key) is None:
                raise self.error(key, f"missing: {example}")
        assert section.resistance is not None
        assert section.pull_up is not None
        assert section.supply is not None
        ohms = np.array([entry.value for entry in section.resistance])
        self._one_for_each(values, ohms, "resistances")
        if ohms.size < 3:
            raise self.error("resistance", f"a thermistor's curve needs at least three points, found {ohms.size}")
        order = np.argsort(ohms)
        ohms, values = ohms[order], values[order]
        self._falls(ohms, values)
        coefficients = self._curve(ohms, values)
        pull_up, supply = section.pull_up.value, section.supply.value
        # Ohm's law: the sensor to ground, below the pull-up.
        volts = supply * ohms / (ohms + pull_up)
        return SensorScale(kind, volts, values, shown, Thermistor(coefficients, pull_up, supply))

    def _curve(self, ohms: FloatArray, values: FloatArray) -> tuple[float, float, float]:
        try:
            coefficients = steinhart_hart(ohms, values)
        except InputError as error:
            raise self.error("value", error.problem) from None
        off_k = temperature(ohms, coefficients) - values
        worst = int(np.abs(off_k).argmax())
        if not abs(off_k[worst]) <= FIT_K:
            raise self.error(
                "value",
                f"at {ohms[worst]:.4g} ohm the curve through the points is off by {abs(off_k[worst]):.2g} K: no "
                "thermistor has such points; look for a typing error in one of them",
            )
        return coefficients

    def _falls(self, ohms: FloatArray, values: FloatArray) -> None:
        for index in range(ohms.size - 1):
            if ohms[index] == ohms[index + 1]:
                raise self.error("resistance", f"{ohms[index]:.4g} ohm is given twice: give every point once")
            if values[index] <= values[index + 1]:
                raise self.error(
                    "value",
                    f"rises from {values[index] - 273.15:.4g} degC at {ohms[index]:.4g} ohm to "
                    f"{values[index + 1] - 273.15:.4g} degC at {ohms[index + 1]:.4g} ohm, but a thermistor's "
                    "resistance falls as it gets warmer: the lists look transposed",
                )


def _refuse_the_other_scale(kind: SensorKind, measured: Measured) -> None:
    """Refuse a λ in a scale of air/fuel ratios, and the reverse: no two are confused more often."""
    if kind is SensorKind.LAMBDA and 6.0 <= measured.value <= 30.0:
        raise InputError(f'"{measured.text}" looks like an air/fuel ratio: say kind = "{SensorKind.AIR_FUEL_RATIO}"')
    if kind is SensorKind.AIR_FUEL_RATIO and 0.3 <= measured.value < 3.0:
        raise InputError(f'"{measured.text}" looks like a lambda: say kind = "{SensorKind.LAMBDA}", without a basis')


FIT_K = 2.0
"""How far a stated point may lie off the curve through all of them, K: further off it is a typing error."""


def _shown(kind: SensorKind, entries: list[Measured], basis: float) -> ShownIn:
    """The unit in which all values are written, or a usual one where they differ."""
    if kind is SensorKind.AIR_FUEL_RATIO:
        return ShownIn("air/fuel", 1.0 / basis)
    first = entries[0]
    if kind in (SensorKind.LAMBDA, SensorKind.POSITION) or any(entry.unit != first.unit for entry in entries):
        return _DEFAULT_UNIT[kind]
    other = next((entry for entry in entries if entry.shown != first.shown), None)
    if other is None:
        return _DEFAULT_UNIT[kind]
    size = (other.value - first.value) / (other.shown - first.shown)
    return ShownIn(first.unit, size, first.value - size * first.shown)


def build_sensors(
    sections: dict[str, schema.Sensor] | None, provenance: Provenance, side: str, barometer_pa: float
) -> dict[str, SensorScale]:
    """The scales of one side by name.

    Parameters
    ----------
    sections
        As read; `None` if the job has none.
    provenance
        For messages.
    side
        ``donor`` or ``target``.
    barometer_pa
        Of that side, for pressures that are gauge or vacuum, Pa.

    Raises
    ------
    InputError
        Naming the key.
    """
    sensors = [
        _StatedSensor(provenance, f"{side}.sensors.{name}", name, section, barometer_pa)
        for name, section in (sections or {}).items()
    ]
    for sensor in sensors:
        sensor.keep_error()
    return {sensor.name: sensor.scale() for sensor in sensors if sensor.has_scale or sensor.section.error is None}


def _near(name: str, known: Iterable[str]) -> str | None:
    """The known name that is like this one, whatever its capitals; `None` if none is."""
    folded = {one.casefold(): one for one in known}
    near = difflib.get_close_matches(name.casefold(), folded, n=1, cutoff=0.7)
    return folded[near[0]] if near else None


def refuse_unlike_sensors(
    donor: dict[str, SensorScale], target: dict[str, SensorScale], provenance: Provenance
) -> None:
    """Refuse a sensor that reads one quantity on the donor and another on the target, or has another name there.

    Raises
    ------
    InputError
        Naming the target's key.
    """
    for name in donor.keys() & target.keys():
        one, other = donor[name], target[name]
        if one.quantity is not other.quantity:
            raise InputError(
                f'"{other.kind}" here, but "{one.kind}" in [donor.sensors.{name}]: one name must be one sensor',
                file=provenance.file,
                place=f"target.sensors.{name}.kind",
            )
    _refuse_another_name(donor, target, provenance)


def _refuse_another_name(donor: dict[str, SensorScale], target: dict[str, SensorScale], provenance: Provenance) -> None:
    """Refuse two sensors of one quantity, each on one side only, with nearly the same name: they may be one."""
    for name in sorted(donor.keys() - target.keys()):
        alike = [one for one in target.keys() - donor.keys() if target[one].quantity is donor[name].quantity]
        near = _near(name, sorted(alike))
        if near is None:
            continue
        # The name that the program knows is right; else the donor's is kept.
        wrong, right = ("donor", name), ("target", near)
        if near not in KINDS_OF_NAME:
            wrong, right = right, wrong
        raise InputError(
            f'did you mean "{right[1]}", as in [{right[0]}.sensors.{right[1]}]? The two scales are compared only if '
            "the sensor has one name on both sides",
            file=provenance.file,
            place=f"{wrong[0]}.sensors.{wrong[1]}",
        )
