"""One quantity of a job file, once read."""

from __future__ import annotations

from dataclasses import dataclass, replace

UNKNOWN = "unknown"
NO_DEFAULT = (
    '"unknown" cannot stand here, as there is no default for it: give the value, '
    "or leave the key out where it is optional"
)


@dataclass(frozen=True)
class Measured:
    """One quantity as written, in SI.

    Parameters
    ----------
    text
        As written.
    value
        SI. A gauge or vacuum pressure is held against the atmosphere until `absolute` is called.
    shown, unit
        The number and unit as written; the unit of a pressure with its ``gauge``, ``absolute`` or ``vacuum``.
    half_width, k2
        The spread, SI, `None` where none is given; with `k2` an expanded uncertainty (k = 2).
    is_mass
        Of a flow: whether it is mass per time.
    reference
        ``gauge`` or ``vacuum`` where the barometer is still to be put in, else empty.
    second
        The second quantity of ``"104 kW @ 6500 rpm"`` or ``"24 lb/h = 252 cc/min"``.
    """

    text: str
    value: float
    shown: float
    unit: str
    half_width: float | None = None
    k2: bool = False
    is_mass: bool = False
    reference: str = ""
    second: Measured | None = None

    def absolute(self, barometer_pa: float) -> Measured:
        """The same pressure against vacuum; the second of a pair likewise."""
        sign = {"": 0.0, "gauge": 1.0, "vacuum": -1.0}[self.reference]
        value = barometer_pa + sign * self.value if sign else self.value
        second = self.second.absolute(barometer_pa) if self.second else None
        return replace(self, value=value, reference="", second=second)
