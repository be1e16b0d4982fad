"""The units that a job may use.

pint's own list takes a third of a second to load; this one takes milliseconds. A test holds every unit against pint's.
"""

DEFINITIONS = """
    meter = [length] = m
    second = [time] = s
    kilogram = [mass] = kg
    kelvin = [temperature]; offset: 0 = K
    volt = [voltage] = V
    ohm = [resistance] = ohm
    revolution_per_minute = [rotation] = rpm
    degree_Celsius = kelvin; offset: 273.15 = degC
    degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF
    millisecond = 1e-3 * second = ms
    microsecond = 1e-6 * second = us
    minute = 60 * second = min
    hour = 3600 * second = h = hr
    millimeter = 1e-3 * meter = mm
    centimeter = 1e-2 * meter = cm
    kilometer = 1e3 * meter = km
    inch = 0.0254 * meter = inch
    foot = 0.3048 * meter = ft
    gram = 1e-3 * kilogram = g
    milligram = 1e-6 * kilogram = mg
    pound = 0.45359237 * kilogram = lb
    ounce = 0.45359237 / 16 * kilogram = oz
    square_meter = meter ** 2 = m2
    square_centimeter = 1e-4 * meter ** 2 = cm2
    square_millimeter = 1e-6 * meter ** 2 = mm2
    square_inch = 0.0254 ** 2 * meter ** 2 = in2
    cubic_meter = meter ** 3 = m3
    cubic_centimeter = 1e-6 * meter ** 3 = cc = cm3 = ml
    liter = 1e-3 * meter ** 3 = l = L
    cubic_inch = 0.0254 ** 3 * meter ** 3 = cuin = in3
    pascal = kilogram / meter / second ** 2 = Pa
    hectopascal = 1e2 * pascal = hPa
    kilopascal = 1e3 * pascal = kPa
    bar = 1e5 * pascal = bar
    millibar = 1e2 * pascal = mbar
    pound_force_per_square_inch = 0.45359237 * 9.80665 / 0.0254 ** 2 * pascal = psi
    millimeter_of_mercury = 13.5951 * 9.80665 * pascal = mmHg
    inch_of_mercury = 25.4 * 13.5951 * 9.80665 * pascal = inHg
    millivolt = 1e-3 * volt = mV
    kiloohm = 1e3 * ohm = kohm
    watt = kilogram * meter ** 2 / second ** 3 = W
    kilowatt = 1e3 * watt = kW
    horsepower = 550 * 0.3048 * 0.45359237 * 9.80665 * watt = hp
    metric_horsepower = 75 * 9.80665 * watt = PS
"""
"""The same units as pint defines them, in its notation."""

UNIT_NAMES = (
    *("m", "cm", "mm", "km", "inch", "ft"),
    *("s", "ms", "us", "min", "h", "hr"),
    *("g", "kg", "mg", "lb", "oz"),
    *("m2", "cm2", "mm2", "in2"),
    *("m3", "cc", "cm3", "ml", "l", "L", "cuin", "in3"),
    *("Pa", "hPa", "kPa", "bar", "mbar", "psi", "inHg", "mmHg"),
    *("K", "degC", "degF", "V", "mV", "ohm", "kohm", "rpm", "W", "kW", "hp", "PS"),
)
"""Every unit that a job may use, alone or as ``one/other``."""
