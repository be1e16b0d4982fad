"""What `basemap new` asks, and the job file it makes of the answers."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from basemap.errors import InputError


class Answered(StrEnum):
    """How an answer is understood and written."""

    QUANTITY = "quantity"
    NUMBER = "number"
    CHOICE = "choice"
    CHOICES = "choices"
    YES_NO = "yes or no"
    DEAD_TIME = "dead time"
    TEXT = "text"


@dataclass(frozen=True)
class Question:
    """One question.

    Parameters
    ----------
    key
        Dotted job-file key.
    words
        What is asked.
    form
        How the answer is understood.
    kind
        Of a quantity: the name of a `basemap.job.units.Kind`.
    choices
        Of a choice.
    default
        What Enter alone means; `None` where an answer is needed, empty where the key is then left out.
    when
        Key and answer on which the question depends.
    """

    key: str
    words: str
    form: Answered = Answered.QUANTITY
    kind: str = ""
    choices: tuple[str, ...] = ()
    default: str | None = None
    when: tuple[str, str] | None = None


@dataclass(frozen=True)
class Part:
    """Questions that belong together, under a headline."""

    headline: str
    questions: tuple[Question, ...]


_APPLIES = ("pressure", "lambda", "dead time")
_PULSE = ("donor.tables.fuel.quantity", "pulse width")
_SIDE = (
    Question("{side}.engine.displacement", "Displacement, such as 1998 cc", kind="VOLUME"),
    Question("{side}.engine.cylinders", "Cylinders", Answered.NUMBER),
    Question(
        "{side}.engine.cycle", "Cycle", Answered.CHOICE, choices=("four-stroke", "two-stroke"), default="four-stroke"
    ),
    Question(
        "{side}.engine.induction",
        "Induction",
        Answered.CHOICE,
        choices=("atmospheric", "boosted"),
        default="atmospheric",
    ),
    Question(
        "{side}.engine.peak_pressure",
        "Highest manifold pressure, such as 180 kPa",
        kind="ABSOLUTE_PRESSURE",
        when=("{side}.engine.induction", "boosted"),
    ),
    Question("{side}.engine.rev_limit", "Rev limit, such as 7000 rpm (Enter to leave out)", kind="SPEED", default=""),
    Question("{side}.injectors.static_flow", "Static flow of one injector, such as 280 cc/min", kind="FLOW"),
    Question(
        "{side}.injectors.rated_pressure",
        "Pressure at which that flow was rated, such as 3.0 bar",
        kind="RAIL_PRESSURE",
        default="unknown",
    ),
    Question("{side}.injectors.per_cylinder", "Injectors for each cylinder", Answered.NUMBER, default="1"),
    Question(
        "{side}.injectors.openings_per_cycle",
        "Openings in each engine cycle: 1 sequential, 2 twice a cycle",
        Answered.NUMBER,
        default="1",
    ),
    Question(
        "{side}.injectors.dead_time",
        "Dead times as V:ms, such as 10:1.75 12:1.20 14:0.85",
        Answered.DEAD_TIME,
        default="unknown",
    ),
    Question("{side}.fuel.blend", "Fuel: petrol, E5, E10, E85 ...", Answered.TEXT, default="unknown"),
    Question(
        "{side}.fuel.rail_pressure",
        "Rail pressure on the gauge, hose off, pump on, such as 3.0 bar",
        kind="RAIL_PRESSURE",
    ),
    Question(
        "{side}.fuel.regulator",
        "Pressure regulator follows the manifold, or is fixed",
        Answered.CHOICE,
        choices=("manifold", "fixed"),
    ),
)

SETTINGS = Part(
    "What does the map's settings page say?",
    (
        Question(
            "donor.tables.fuel.quantity",
            "What the cells of the fuel table hold",
            Answered.CHOICE,
            choices=("volumetric efficiency", "pulse width"),
        ),
        Question(
            "donor.tables.fuel.ecu_applies",
            f"What the controller still applies to a cell: {', '.join(_APPLIES)} (commas between, or none)",
            Answered.CHOICES,
            choices=_APPLIES,
            when=_PULSE,
        ),
        Question(
            "donor.settings.displacement",
            "Displacement as entered there (Enter if it does not say)",
            kind="VOLUME",
            default="",
        ),
        Question(
            "donor.settings.static_flow",
            "Injector flow as entered there (Enter if it does not say)",
            kind="FLOW",
            default="",
        ),
        Question(
            "donor.settings.stoichiometric",
            "Stoichiometric ratio as entered there (Enter if it does not say)",
            Answered.NUMBER,
            default="",
        ),
        Question(
            "donor.settings.corrects_rail_pressure", "Does it correct for rail pressure", Answered.YES_NO, default="no"
        ),
    ),
)

TABLE = Part(
    "The fuel table",
    (
        Question("title", "A title for this job", Answered.TEXT),
        Question(
            "donor.tables.fuel.file", "File of the table (.csv, .tsv, .txt, .xlsx), beside the job file", Answered.TEXT
        ),
        Question(
            "donor.tables.fuel.load_unit",
            "Unit of its load axis, such as kPa or psi gauge",
            Answered.TEXT,
            default="kPa",
        ),
        Question(
            "donor.tables.fuel.lambda",
            "Lambda it is meant to give: a number, or a file",
            Answered.TEXT,
            default="unknown",
        ),
        Question(
            "donor.state",
            "Was it tuned on its engine",
            Answered.CHOICE,
            choices=("tuned", "generic", "unknown"),
            default="unknown",
        ),
    ),
)


def parts() -> tuple[Part, ...]:
    """All questions in order."""
    return SETTINGS, TABLE, _side("donor", "The engine it comes from (donor)"), _side("target", "Your engine (target)")


def _side(side: str, headline: str) -> Part:
    return Part(headline, tuple(_of_side(question, side) for question in _SIDE))


def _of_side(question: Question, side: str) -> Question:
    when = None if question.when is None else (question.when[0].format(side=side), question.when[1])
    return Question(question.key.format(side=side), question.words, question.form, question.kind, question.choices,
                    question.default, when)  # fmt: skip


def understood(question: Question, answer: str) -> str:
    """The TOML value of an answer; empty where the key is left out.

    Raises
    ------
    InputError
        Where it is no answer to this question.
    """
    text = answer.strip()
    if not text:
        return ""
    return _FORMS[question.form](question, text)


def _quantity(question: Question, text: str) -> str:
    from basemap.job.kinds import UNKNOWN, Kind
    from basemap.job.units import parse_quantity

    if not (text == UNKNOWN and question.default == UNKNOWN):
        parse_quantity(text, Kind[question.kind], file=None, place=None)
    return _quoted(text)


def _number(question: Question, text: str) -> str:
    del question
    from basemap.job.kinds import Kind
    from basemap.job.units import parse_quantity

    parse_quantity(text, Kind.NUMBER, file=None, place=None)
    return text if text.replace(".", "", 1).isdigit() else _quoted(text)


def _choice(question: Question, text: str) -> str:
    near = [choice for choice in question.choices if choice.startswith(text.casefold())]
    if len(near) != 1:
        raise InputError(f'"{text}" is none of: {", ".join(question.choices)}')
    return _quoted(near[0])


def _several(question: Question, text: str) -> str:
    named = [] if text.casefold() == "none" else [one.strip() for one in text.split(",")]
    for one in named:
        if one not in question.choices:
            raise InputError(f'"{one}" is none of: {", ".join(question.choices)}')
    return json.dumps(named)


def _yes_no(question: Question, text: str) -> str:
    del question
    for word, value in (("yes", "true"), ("no", "false")):
        if word.startswith(text.casefold()):
            return value
    raise InputError(f'"{text}" is neither yes nor no')


def _dead_time(question: Question, text: str) -> str:
    from basemap.job.kinds import UNKNOWN, Kind
    from basemap.job.units import parse_quantity

    if text == UNKNOWN and question.default == UNKNOWN:
        return _quoted(text)
    points = []
    for pair in text.split():
        volts, colon, time = pair.partition(":")
        if not colon:
            raise InputError(f'"{pair}" is no point: write battery voltage, colon, milliseconds, such as 12:1.20')
        points.append((f"{volts} V", f"{time} ms"))
        parse_quantity(points[-1][0], Kind.VOLTAGE, file=None, place=None)
        parse_quantity(points[-1][1], Kind.TIME, file=None, place=None)
    battery, times = (json.dumps([point[at] for point in points]) for at in (0, 1))
    return f"{{ battery = {battery}, time = {times} }}"


def _text(question: Question, text: str) -> str:
    del question
    try:
        float(text)
    except ValueError:
        return _quoted(text)
    return text


def _quoted(text: str) -> str:
    # A JSON string is a TOML basic string.
    return json.dumps(text, ensure_ascii=False)


_FORMS = {
    Answered.QUANTITY: _quantity,
    Answered.NUMBER: _number,
    Answered.CHOICE: _choice,
    Answered.CHOICES: _several,
    Answered.YES_NO: _yes_no,
    Answered.DEAD_TIME: _dead_time,
    Answered.TEXT: _text,
}


def is_asked(question: Question, values: Mapping[str, str]) -> bool:
    """Whether a question applies, given the TOML values so far."""
    return question.when is None or values.get(question.when[0]) == _quoted(question.when[1])


def job_file(values: Mapping[str, str]) -> str:
    """The commented job file of the answers, key → TOML value."""
    lines = [
        '# Written from your answers. Quantities take a spread, such as "280 cc/min ± 3 %"; "unknown" stands for what you',
        "# do not know, and is listed as assumed. Every key there is: basemap new FILE.toml --blank",
        "",
    ]
    words = {question.key: question.words for part in parts() for question in part.questions}
    section = ""
    for key in sorted(values, key=lambda key: _place(key)):
        *path, name = key.split(".")
        if (here := ".".join(path)) != section:
            section = here
            lines += ["", f"[{section}]"]
        entry = f"{name} = {values[key]}"
        lines.append(f"{entry.ljust(40)}  # {words[key].split(' (Enter')[0]}" if values[key] else f"# {name} =")
    if '"pulse width"' not in values.get("donor.tables.fuel.quantity", ""):
        lines += [
            "",
            "# The controller is taken to apply pressure, lambda and dead time to a cell: ecu_applies says otherwise.",
        ]
    return "\n".join(lines) + "\n"


def _place(key: str) -> tuple[int, str, int]:
    """Order in the file: by side, then section, then as asked."""
    keys = [question.key for part in parts() for question in part.questions]
    section = key.rpartition(".")[0]
    sides = ("", "donor", "target")
    first_of_section = min(at for at, other in enumerate(keys) if other.rpartition(".")[0] == section)
    return sides.index(section.partition(".")[0]), f"{section.count('.') and first_of_section + 1:04d}", keys.index(key)
