"""Every quantity of a job, by its job-file key."""

from __future__ import annotations

import re
from dataclasses import replace

from basemap.adaptation.quantities.choices import CHOICES, WORDS
from basemap.adaptation.quantities.engine import CONDITIONS, ENGINE
from basemap.adaptation.quantities.fuel import FUEL
from basemap.adaptation.quantities.injectors import INJECTORS
from basemap.adaptation.quantities.quantity import Default, Quantity
from basemap.adaptation.quantities.settings import OPTIONS, SETTINGS
from basemap.adaptation.quantities.tables import SENSORS, TABLES

ALL = (*CONDITIONS, *ENGINE, *INJECTORS, *FUEL, *SETTINGS, *TABLES, *SENSORS, *OPTIONS)
"""All quantities, in the order of the job file's sections."""

QUANTITIES = {quantity.key: quantity for quantity in ALL}


def _in_full(default: Default, quantity: Quantity) -> Default:
    """A default with the key and kind of its quantity; a text such as "as the settings" has no kind."""
    key, kind = default.key or quantity.key, quantity.range.kind if default.value[0].isdigit() else None
    kept_elsewhere = kind is not None and key != quantity.key
    return replace(default, key=key, kind=kind, input_key=quantity.key if kept_elsewhere else None)


DEFAULTS = {
    default.name: default
    for default in (
        *(_in_full(default, quantity) for quantity in ALL for default in quantity.defaults),
        *CHOICES,
    )
}
"""Every default, by our own name for it."""

SPREADS = {spread.name: spread for quantity in ALL for spread in quantity.spreads}
"""Spreads that are assumed if a job gives none, by our own name for each."""

_TABLE = re.compile(r"tables\.(?!fuel\.)([^.]+)\.")


def in_words(key: str) -> str:
    """The words for a key in a sentence; the key is without its side.

    >>> in_words("engine.rated_power"), in_words("tables.crank.battery"), in_words("engine.displacement")
    ('rated power', 'battery of the table crank', 'displacement')
    """
    table = _TABLE.match(key)
    known = QUANTITIES.get(_TABLE.sub("tables.NAME.", key))
    called = known.words if known is not None else WORDS.get(key, "")
    words = (called or key.rpartition(".")[2].replace("_", " ")).removeprefix("… ").partition(",")[0]
    return f"{words[:1].lower()}{words[1:]}" + (f" of the table {table[1]}" if table else "")
