"""A job in the making: the answers so far, checked as `check` would, and written as a job file."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from basemap.cli.answers import Values
from basemap.cli.questions import APPLIED, APPLIES, FILE, LOAD, QUANTITY, QUESTIONS, Question
from basemap.errors import InputError, Mistakes
from basemap.jobfile.load import build_job
from basemap.jobfile.quantities import UNKNOWN
from basemap.model.job import SIDES, Assumption, Job
from basemap.tables.grid import GridFile

SCHEMA_FILE = "basemap.schema.json"
_UNFINISHED = "# Not finished: basemap new continues here with question "
FIRST_LINE = f"#:schema ./{SCHEMA_FILE}"
_COMMENT_AT = 44
"""Column of the comments in the job file that is written."""
_INDUCTION, _PEAK = "engine.induction", "engine.peak_pressure"
_SIDE: Values = {
    "engine.displacement": "2 l",
    "engine.cylinders": 4,
    "injectors.static_flow": "300 cc/min",
    "injectors.rated_pressure": "3 bar",
    "injectors.dead_time": UNKNOWN,
    "fuel.blend": UNKNOWN,
    "fuel.rail_pressure": "3 bar",
    "fuel.regulator": "manifold",
}
STAND_INS: Values = {
    QUANTITY: "volumetric efficiency",
    LOAD: "manifold pressure",
    "donor.tables.fuel.load_unit": "kPa",
    "donor.tables.fuel.lambda": UNKNOWN,
    APPLIED: list(APPLIES),
    **{f"{side}.{key}": value for side in SIDES for key, value in _SIDE.items()},
}
"""Values for what is not answered yet, so that the answers so far can be tried; never written."""


@dataclass
class Draft:
    """The answers so far.

    Parameters
    ----------
    path
        The job file; paths in it are relative to its folder.
    values
        Key → value; `None` if it was left out.
    """

    path: Path
    values: Values = field(default_factory=dict)
    _read: dict[object, GridFile] = field(default_factory=dict, init=False, repr=False)
    _tried: dict[str, Job | InputError] = field(default_factory=dict, init=False, repr=False)

    def job(self, more: Values | None = None, *, whole: bool = False) -> Job:
        """The job as far as it goes, with stand-ins for what is not answered unless it is `whole`.

        Raises
        ------
        InputError
            What `check` would say.
        """
        return self.whole({**self.values, **(more or {})} if whole else self._with_stand_ins(more))

    def _with_stand_ins(self, more: Values | None) -> Values:
        stated = {**self.values, **(more or {})}
        values = {**STAND_INS, **_boost(stated), **stated}
        if values[APPLIED] == UNKNOWN:
            # Only the engine itself shows which meaning of the cells is plausible; a stand-in for it cannot.
            values[APPLIED] = STAND_INS[APPLIED]
        return values

    def whole(self, values: Values) -> Job:
        """The job of some answers alone.

        Raises
        ------
        InputError
            What `check` would say.
        """
        return build_job(nested(values), self.path.parent, str(self.path), kept=self._read)

    def _try(self, more: Values | None) -> Job | InputError:
        """The job as far as it goes, or what `check` would say; one question tries the same answers several times."""
        # A key that is left out and one that was never named make the same job.
        values = {key: value for key, value in self._with_stand_ins(more).items() if value is not None}
        written = json.dumps(values, sort_keys=True)
        if written not in self._tried:
            try:
                self._tried[written] = self.whole(values)
            except InputError as error:
                self._tried[written] = error
        return self._tried[written]

    def problem(self, keys: Iterable[str], more: Values | None = None) -> InputError | None:
        """The problem that `check` would find with some keys; `None` if there is none."""
        tried = self._try(more)
        if isinstance(tried, Job):
            return None
        found = tried.found if isinstance(tried, Mistakes) else (tried,)
        return next((one for one in found if is_about(one, tuple(keys))), None)

    def is_needed(self, keys: Iterable[str]) -> bool:
        """Whether the job has a problem once all of some keys are left out."""
        of_boost = [key for side in SIDES for key in (f"{side}.{_INDUCTION}", f"{side}.{_PEAK}")]
        beside = [key for key in of_boost if key not in self.values] if set(of_boost) & set(keys) else []
        return self.problem(keys, dict.fromkeys([*keys, *beside])) is not None

    def assumed(self, key: str, more: Values | None = None) -> Assumption | None:
        """What would be put in for a key."""
        tried = self._try(more)
        return next((one for one in tried.assumed if one.key == key), None) if isinstance(tried, Job) else None

    def without(self, question: Question) -> None:
        """Take back the answer to a question; its file may have been corrected since."""
        self._tried.clear()
        for key in question.keys:
            self.values.pop(key, None)
        if FILE in question.keys:
            for key in [key for key in self.values if key.startswith("donor.tables.fuel.")]:
                del self.values[key]


def _boost(stated: Values) -> Values:
    """Stand-in keys to read a table with boost rows before the engines; empty if an induction is stated."""
    found: Values = {}
    for side in SIDES:
        induction = f"{side}.{_INDUCTION}"
        if stated.get(induction, "boosted") == "boosted":
            found |= {induction: "boosted", f"{side}.{_PEAK}": "600 kPa"}
    return found


def is_about(error: InputError, keys: tuple[str, ...]) -> bool:
    """Whether a problem is about one of some keys, or about a section that only their question covers."""
    place = (error.place or "").partition(" ")[0]
    if any(_is_within(place, key) for key in keys):
        return True
    if any(_is_within(place, key) for question in QUESTIONS for key in question.keys):
        return False
    # A key that no question asks for is missing because of the answer about its section.
    return any(_is_within(place, key.rpartition(".")[0]) for key in keys if key.count(".") > 1)


def _is_within(place: str, key: str) -> bool:
    return place == key or place.startswith(f"{key}.")


def nested(values: Values) -> dict[str, Any]:
    """The mapping that a job file would give."""
    whole: dict[str, Any] = {}
    for key, value in values.items():
        if value is None:
            continue
        *path, name = key.split(".")
        section = whole
        for part in path:
            section = section.setdefault(part, {})
        section[name] = value
    return whole


def flat(data: Mapping[str, Any], place: str = "") -> Iterator[tuple[str, Any]]:
    """Key and value of every entry of a job file; a section that is one answer stays whole."""
    for name, value in data.items():
        key = f"{place}.{name}" if place else name
        if isinstance(value, Mapping) and name != "dead_time":
            yield from flat(value, key)
        else:
            yield key, value


def question_left(content: str) -> int | None:
    """Number of the question at which an unfinished job file continues; `None` if it is finished."""
    match = re.search(f"^{re.escape(_UNFINISHED)}([0-9]+)$", content, re.MULTILINE)
    return None if match is None or int(match[1]) > len(QUESTIONS) else int(match[1]) - 1


def as_text(values: Values, unfinished: int | None = None) -> str:
    """The commented job file, with the next question if it is not finished."""
    lines = [FIRST_LINE]
    if unfinished is not None:
        lines.append(f"{_UNFINISHED}{unfinished + 1}")
    lines += [
        '# Written from your answers. Quantities may have a spread, such as "280 cc/min ± 3 %". What you left out or',
        '# called "unknown" is assumed, and listed as assumed. More keys: basemap new FILE.toml --blank',
    ]
    words = {piece.key: piece.words for question in QUESTIONS for piece in question.pieces}
    order = {key: at for at, key in enumerate(words)}
    sections: dict[str, list[str]] = {}
    for key in sorted(values, key=lambda key: order.get(key, len(order))):
        section, _, name = key.rpartition(".")
        if values[key] is not None or key in words:
            sections.setdefault(section, []).extend(_entry(name, values[key], words.get(key, "")))
    lines += ["", *sections.pop("")] if "" in sections else []
    for section in sorted(sections, key=lambda name: (name.partition(".")[0], "." in name)):
        lines += ["", f"[{section}]", *sections[section]]
    return "\n".join(lines) + "\n"


def _entry(name: str, value: Any, comment: str) -> list[str]:
    """The line of a key with its comment behind it, or above it if long; commented out if it has no value."""
    if value is None:
        return [f"# {name} =".ljust(_COMMENT_AT) + f"# {comment}"]
    entry = f"{name} = {_toml(value)}"
    if not comment:
        return [entry]
    return [entry.ljust(_COMMENT_AT) + f"# {comment}"] if len(entry) < _COMMENT_AT else [f"# {comment}", entry]


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{name} = {_toml(inner)}' for name, inner in value.items())} }}"
    # A JSON text is a TOML basic text, but for the one control character that JSON lets pass.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
