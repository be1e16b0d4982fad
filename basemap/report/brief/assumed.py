"""What was assumed, in short words instead of keys, and what was not judged."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from basemap.model.job import Assumption, Job
from basemap.model.result import Result, Severity
from basemap.report.brief.statement import Statement, Topic
from basemap.rules.registry import all_rules

_SIDES = ("donor", "target")


def assumed(job: Job) -> Iterator[Statement]:
    """What the program put in, what the user called unknown first."""
    for unknown in (True, False):
        for text in _merged([_in_short(job, one) for one in job.assumed if one.unknown is unknown]):
            yield Statement(Topic.ASSUMED, text, Severity.CAUTION if unknown else None,
                            ("unknown-inputs",) if unknown else ())  # fmt: skip


def _merged(texts: list[str]) -> Iterator[str]:
    """What is assumed of both engines alike, once."""
    for text in dict.fromkeys(texts):
        own = text.removeprefix("donor's ")
        if text != own and f"target's {own}" in texts:
            yield f"{own} on both"
        elif not (text.startswith("target's ") and "donor's " + text.removeprefix("target's ") in texts):
            yield text


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
    "injectors.per_cylinder": lambda value: f"{value} injector{'' if value == '1' else 's'} a cylinder",
    "injectors.openings_per_cycle": lambda value: f"{value} opening{'' if value == '1' else 's'} a cycle",
    "donor.state": lambda value: f"how well the donor was tuned: {value}",
}


def _in_short(job: Job, one: Assumption) -> str:
    """An assumption in a few words, with its spread, and which engine it is of where that is not plain."""
    side, _, key = one.key.partition(".")
    words = _WORDS.get(one.key) or _WORDS.get(key)
    spread = f" ± {one.half_width}" if one.half_width else ""
    if words is not None:
        both = sum(other.key.partition(".")[2] == key for other in job.assumed) > 1
        said = f"{words(one.value)}{spread}"
        return f"{said} ({side})" if both and side in _SIDES else said
    name = (key if side in _SIDES else one.key).replace("_", " ").replace(".", " ")
    for section in ("engine ", "injectors ", "conditions ", "settings "):
        name = name.removeprefix(section)
    owner = f"{side}'s " if side in _SIDES else ""
    return f"{owner}{name} {one.value}{spread}"


def not_judged(result: Result) -> Iterator[Statement]:
    """Rules that lack something, those first that could have stopped the map, with what they lack."""
    missing: dict[str, dict[str, None]] = {}
    for one in result.not_judged:
        missing.setdefault(one.rule, {}).update(dict.fromkeys(one.missing))
    stops = {one.rule for one in result.not_judged if one.can_stop}
    for rule in sorted(missing, key=lambda name: name not in stops):
        if rule in stops:
            text = f"{_title(rule)} (needs {', '.join(missing[rule])})"
            yield Statement(Topic.NOT_JUDGED, text, Severity.CAUTION, (rule,))
        else:
            yield Statement(Topic.NOT_JUDGED, _title(rule), None, (rule,))


_TITLES = {"ignition": "whether knock is likelier", "fuel": "the change of fuel"}


def _title(rule: str) -> str:
    title = _TITLES.get(rule) or next((one.title for one in all_rules() if one.name == rule), rule)
    return title[0].lower() + title[1:]
