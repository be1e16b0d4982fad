"""What was assumed and what was not judged, in a few words instead of keys."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import QUANTITIES, in_words
from basemap.adaptation.units_shown import in_units_of
from basemap.model.finding import Severity
from basemap.model.job import SIDES, Assumption, Job
from basemap.model.result import Result
from basemap.report.brief.statement import Statement, Topic
from basemap.rules.registry import RULES


def assumed(job: Job) -> Iterator[Statement]:
    """The values that the program put in; first those that the user called unknown."""
    assumptions = [_in_its_units(job, one) for one in job.assumed]
    for unknown in (True, False):
        severity, rules = (Severity.CAUTION, ("unknown-inputs",)) if unknown else (None, ())
        of_kind = [one for one in assumptions if one.unknown is unknown]
        page = [one for one in of_kind if _is_of_a_page(one)]
        for text in [*_merged([one for one in of_kind if one not in page]), *_not_read(page)]:
            yield Statement(Topic.ASSUMED, text, severity, rules)


_WITH_UNITS = (Kind.ABSOLUTE_PRESSURE, Kind.BAROMETER, Kind.TEMPERATURE, Kind.SPEED_AT_PRESSURE, Kind.RAIL_PRESSURE)


def _in_its_units(job: Job, one: Assumption) -> Assumption:
    """An assumption in the units that the job itself is written in."""
    quantity = QUANTITIES.get(_without_side(one.key))
    if quantity is None or quantity.range.kind not in _WITH_UNITS:
        return one
    width = one.half_width and in_units_of(job, one.half_width, difference=True)
    return replace(one, value=in_units_of(job, one.value), half_width=width)


def _is_of_a_page(one: Assumption) -> bool:
    """Whether it stands for a setting on the donor's settings page, which nobody has read."""
    return one.key.startswith("donor.settings.") and one.value.startswith("as the donor's")


def _not_read(page: list[Assumption]) -> Iterator[str]:
    """All settings of a page that was not read, in one statement."""
    if page:
        names = (f"{in_words(_without_side(one.key)).removesuffix(' told')} ± {one.half_width}" for one in page)
        yield f"donor's settings page not read: taken as fitted ({', '.join(names)})"


def _without_side(key: str) -> str:
    side, _, rest = key.partition(".")
    return rest if side in SIDES else key


def _merged(assumptions: list[Assumption]) -> Iterator[str]:
    """Each assumption in a few words, with its engine; one that is the same for both appears once."""
    sides: dict[str, list[str]] = {}
    for one in assumptions:
        sides.setdefault(_in_short(one), []).append(one.key.partition(".")[0])
    for text, of in sides.items():
        yield f"{text} on both" if len(of) > 1 else f"{_owner(assumptions, text)}{text}"


def _owner(assumptions: list[Assumption], text: str) -> str:
    """The engine that an assumption is about; empty where that is plain."""
    whole = next(one.key for one in assumptions if _in_short(one) == text)
    side, _, key = whole.partition(".")
    plain = key in _OF_ONE and sum(one.key.endswith(f".{key}") for one in assumptions) == 1
    if side not in SIDES or plain or whole in _WORDS:
        return ""
    return f"{side}: " if key in _COUNTS else f"{side}'s "


def _applies(value: str) -> str:
    names = re.findall(r'"([^"]+)"', value)
    return f"controller applies {', '.join(names) or 'nothing'}" if names or value == "[]" else f"controller: {value}"


def _no_or_yes(what: str) -> Callable[[str], str]:
    return lambda value: f"{'no ' if value == 'false' else ''}{what}"


_WORDS: dict[str, Callable[[str], str]] = {
    "tables.fuel.ecu_applies": _applies,
    "settings.corrects_rail_pressure": _no_or_yes("rail correction"),
    "settings.corrects_charge_temperature": _no_or_yes("charge-temperature correction"),
    "settings.formula_factor": lambda value: f"formula factor {value}",
    "engine.idle": lambda value: f"idle {value.replace(' @', ',')}",
    "engine.cranking": lambda value: f"cranking {value}",
    "engine.coldest_start": lambda value: f"coldest start {value}",
    "injectors.rated_fluid": lambda value: f"rating fluid {value}",
    "fuel.temperature": lambda value: f"fuel temperature {value}",
    "injectors.per_cylinder": lambda value: f"{value} injector{'' if value == '1' else 's'} a cylinder",
    "injectors.openings_per_cycle": lambda value: f"{value} opening{'' if value == '1' else 's'} a cycle",
    "engine.likeness": lambda value: f"likeness: {value}",
    "donor.state": lambda value: f"how well the donor was tuned: {value}",
}


_COUNTS = ("injectors.per_cylinder", "injectors.openings_per_cycle")
_OF_ONE = frozenset(key for key in _WORDS if not key.startswith(("injectors.", "fuel.")))
"""Keys that need no engine beside them if they are assumed for only one."""


def _in_short(one: Assumption) -> str:
    """An assumption in a few words, with its spread."""
    key = _without_side(one.key)
    words = _WORDS.get(one.key) or _WORDS.get(key)
    spread = f" ± {one.half_width}" if one.half_width else ""
    return f"{words(one.value) if words is not None else f'{in_words(key)} {one.value}'}{spread}"


def not_judged(result: Result) -> Iterator[Statement]:
    """The rules that could not be judged; first those that could have stopped the map, with the keys that they lack."""
    missing: dict[str, dict[str, None]] = {}
    for one in result.not_judged:
        missing.setdefault(one.rule, {}).update(dict.fromkeys(map(_whose, one.missing)))
    stops = {one.rule for one in result.not_judged if one.can_stop}
    for rule in sorted(missing, key=lambda name: name not in stops):
        if rule in stops:
            text = f"{_title(rule)} (needs {', '.join(missing[rule])})"
            yield Statement(Topic.NOT_JUDGED, text, Severity.CAUTION, (rule,))
        else:
            yield Statement(Topic.NOT_JUDGED, _title(rule), None, (rule,))


def _whose(key: str) -> str:
    """A key in words, with its engine: the target's rated power."""
    side = key.partition(".")[0]
    return f"the {side}'s {in_words(_without_side(key))}" if side in SIDES else in_words(key)


_TITLES = {"ignition": "whether knock is likelier", "fuel": "the change of fuel"}


def _title(rule: str) -> str:
    title = _TITLES.get(rule) or next((one.title for one in RULES if one.name == rule), rule)
    return title[0].lower() + title[1:]
