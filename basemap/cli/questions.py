"""What `basemap new` asks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


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
        Of a quantity, or of a text that may be one instead: the name of a `basemap.jobfile.quantities.Kind`.
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
            "donor.tables.fuel.load",
            "What its load axis is",
            Answered.CHOICE,
            choices=("manifold pressure", "pressure ratio", "throttle", "air mass"),
            default="manifold pressure",
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
            kind="NUMBER",
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
