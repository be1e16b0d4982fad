"""Physical constants and reference states, SI, each with its source."""

R_DRY_AIR = 287.05287
"""Specific gas constant of dry air, J/(kg·K). ISO 2533 (8.31432 / 0.028964420)."""

STANDARD_PRESSURE = 101_325.0
"""Standard sea-level pressure, Pa. ISO 2533."""

STANDARD_TEMPERATURE = 288.15
"""Standard sea-level temperature, K. ISO 2533."""

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall, m/s². ISO 2533."""

LAPSE_RATE = 0.0065
"""Temperature gradient of the troposphere, K per geopotential metre. ISO 2533."""

ZERO_CELSIUS = 273.15
"""0 °C, K."""

OXYGEN_IN_AIR = 0.2095
"""Oxygen in dry air by volume. Heywood, section 3.4."""

AIR_MOLAR_MASS = 28.96
"""Molar mass of dry air, g/mol. Heywood, section 3.4 (ISO 2533 has 28.9644: 1.5e-4 apart, harmless here)."""

ATOMIC_MASS = {"C": 12.011, "H": 1.008, "O": 15.999}
"""Standard atomic weights, g/mol. IUPAC, abridged."""

FORMULA_PRESSURE = 100_000.0
"""Manifold pressure for which a cell stands when the pressure is already inside it, Pa."""

LINEAR_DUTY = 0.85
"""Share of the cycle up to which the flow line of an injector is trusted. Common practice, no source."""

LEAN_CAUTION, LEAN_STOP = 1.05, 1.10
"""λ actual / λ intended above which a mixture at load is doubtful, and too lean. Common practice, no source."""

LEANEST_WIDE_OPEN = 1.00
"""The leanest λ that may be intended wide open. Common practice, no source."""

FUEL_PRESSURE_LOW = 0.90
"""Share of the expected fuel pressure below which an engine is stopped: 10 % less is 5 % leaner (orifice equation), and
a pressure that falls at idle falls further at load. Common practice, no source."""

LEANEST_IDLE, RICHEST_IDLE = 1.3, 0.65
"""λ beyond which an engine misfires at idle and while it cranks. Common practice, no source."""

SAME = 1e-9
"""Relative difference below which two numbers are one: what a change of unit, or the last bit, leaves."""
