"""Where every number of a job came from: what the job states, what was assumed, what was noted."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from basemap.adaptation.quantities.quantity import Default
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.belief.inputs import carries
from basemap.errors import InputError
from basemap.jobfile.quantities import UNKNOWN, Measured, parse_quantity
from basemap.model.job import Assumption, Input, Source

_NO_QUANTITY = ("notes", "basis")
_MOVE_THE_MIXTURE = ("injectors.", "fuel.", "settings.", "tables.")
"""Sections whose quantities move the mixture: a spread there must be used in the band, or is refused."""


@dataclass
class Provenance:
    """The origin of every number, collected while a job is put together.

    Parameters
    ----------
    file
        The job file as the user named it, for messages.
    data
        The job as read.
    """

    file: str
    data: Mapping[str, Any]
    inputs: dict[str, Input] = field(default_factory=dict)
    assumed: list[Assumption] = field(default_factory=list)
    notes: dict[str, str] = field(default_factory=dict)
    declared: set[str] = field(default_factory=set)
    copied: set[str] = field(default_factory=set)
    sources: list[Source] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.declared.update(_stated(self.data))
        self.notes.update(_notes(self.data))

    def take(self, section: BaseModel, place: str, barometer_pa: float | None) -> None:
        """Keep every value of a section, and of the sections in it, as an input."""
        for key, value in _values(section):
            path = f"{place}.{key}" if place else key
            if isinstance(value, BaseModel):
                self.take(value, path, barometer_pa)
            elif key not in _NO_QUANTITY or isinstance(value, Measured):
                self._take_value(value, path, barometer_pa)

    def _take_value(self, value: object, path: str, barometer_pa: float | None) -> None:
        if isinstance(value, tuple) and value and not isinstance(value[0], str):
            for index, entry in enumerate(value):
                # A single list of dead times is kept flat; only lists for several pressures have two indices.
                alone = isinstance(entry, tuple) and len(value) == 1
                self._take_value(entry, path if alone else f"{path}[{index}]", barometer_pa)
        elif isinstance(value, dict):
            for name, entry in value.items():
                inner = f"{path}.{name}"
                if isinstance(entry, BaseModel):
                    self.take(entry, inner, barometer_pa)
                else:
                    self._take_value(entry, inner, barometer_pa)
        elif isinstance(value, Measured):
            self.keep(path, value if barometer_pa is None else value.absolute(barometer_pa), self.origin(path))
        elif value != UNKNOWN:
            self.inputs[path] = _text_input(path, value, self.origin(path))

    def keep(self, key: str, measured: Measured, origin: str) -> None:
        """Keep one quantity as an input."""
        self.inputs[key] = Input(
            key=key,
            text=measured.text,
            value=measured.value,
            shown=measured.shown,
            unit=measured.unit,
            half_width=measured.half_width,
            k2=measured.k2,
            origin=origin,
        )

    def origin(self, path: str) -> str:
        """The ``basis`` of the innermost section that states one, else ``declared``."""
        found, section = "declared", self.data
        for part in path.split("."):
            basis = section.get("basis") if isinstance(section, Mapping) else None
            if isinstance(basis, str) and basis != "fuel in use":
                found = basis
            section = section.get(part, {}) if isinstance(section, Mapping) else {}
        return found

    def assume(self, name: str, key: str, *, unknown: bool = False, value: str | None = None) -> Measured | None:
        """List a default as assumed, keep it as an input where it is a quantity, and return it.

        Parameters
        ----------
        name
            Name of the default.
        key
            Full job-file key.
        unknown
            Whether the job says "unknown", rather than leaving it out.
        value
            What is shown instead of the default's own value.
        """
        default = DEFAULTS[name]
        self.assumed.append(
            Assumption(key, value or default.value, default.half_width, default.why, default.moves, unknown)
        )
        return self._keep_default(default, key, unknown)

    def _keep_default(self, default: Default, key: str, unknown: bool) -> Measured | None:
        measured = default_quantity(default)
        if measured is not None:
            self.keep(_with_input_key(key, default), measured, "assumed" if unknown else "default")
        return measured


def refuse_spreads(provenance: Provenance) -> None:
    """Refuse a spread that nothing uses: ignored, it would make the band on the mixture too narrow."""
    for key, entry in provenance.inputs.items():
        moves = key.partition(".")[2].startswith(_MOVE_THE_MIXTURE)
        if entry.half_width is not None and moves and not carries(key):
            raise InputError(
                f'"{entry.text}" states a spread, which the band on the mixture does not use: leave the spread out',
                file=provenance.file,
                place=key,
            )


def _with_input_key(key: str, default: Default) -> str:
    return key if default.input_key is None else key.replace(default.key, default.input_key)


def default_quantity(default: Default) -> Measured | None:
    """The value of a default, in SI; `None` if it is not a quantity."""
    return None if default.kind is None else parse_quantity(default.text, default.kind, file=None, place=None)


def _values(section: BaseModel) -> Iterator[tuple[str, Any]]:
    for name, field_of in type(section).model_fields.items():
        if name in section.model_fields_set:
            yield field_of.alias or name, getattr(section, name)
    yield from (section.model_extra or {}).items()


def _text_input(key: str, value: object, origin: str) -> Input:
    """An input that is not a quantity: a choice, a count, a name. Only its text counts, unless it is a number."""
    if isinstance(value, bool):
        return Input(key, str(value).lower(), math.nan, math.nan, "", origin=origin)
    if isinstance(value, (int, float)):
        return Input(key, f"{value:g}", float(value), float(value), "", origin=origin)
    text = ", ".join(str(word) for word in value) if isinstance(value, tuple) else str(value)
    return Input(key, text, math.nan, math.nan, "", origin=origin)


def _stated(data: Mapping[str, Any], place: str = "") -> Iterator[str]:
    for key, value in data.items():
        path = f"{place}.{key}" if place else key
        if value != UNKNOWN:
            yield path
        if isinstance(value, Mapping):
            yield from _stated(value, path)


def _notes(data: Mapping[str, Any], place: str = "") -> Iterator[tuple[str, str]]:
    for key, value in data.items():
        if key == "notes" and isinstance(value, str):
            yield place or "job", value
        elif isinstance(value, Mapping):
            yield from _notes(value, f"{place}.{key}" if place else key)
