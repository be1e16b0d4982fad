"""What `basemap new` asks."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from basemap.adaptation.quantities.kinds import Kind
from basemap.adaptation.quantities.registry import DEFAULTS, QUANTITIES
from basemap.jobfile.quantities import UNKNOWN


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


def _asks(key: str, *, default: str | None = None, when: tuple[str, str] | None = None) -> Question:
    """Ask for a quantity of the registry, in its own words."""
    quantity = QUANTITIES[key.partition(".")[2]]
    if quantity.range.kind is Kind.NUMBER:
        return Question(key, quantity.question, Answered.NUMBER, default=default, when=when)
    return Question(key, quantity.question, kind=quantity.range.kind.name, default=default, when=when)


_APPLIES = ("pressure", "lambda", "dead time")
_PULSE = ("donor.tables.fuel.quantity", "pulse width")
_SIDE = (
    _asks("{side}.engine.displacement"),
    _asks("{side}.engine.cylinders"),
    Question(
        "{side}.engine.cycle",
        "Cycle",
        Answered.CHOICE,
        choices=("four-stroke", "two-stroke"),
        default=DEFAULTS["cycle"].value,
    ),
    Question(
        "{side}.engine.induction",
        "Induction",
        Answered.CHOICE,
        choices=("atmospheric", "boosted"),
        default=DEFAULTS["induction"].value,
    ),
    _asks("{side}.engine.peak_pressure", when=("{side}.engine.induction", "boosted")),
    _asks("{side}.engine.rev_limit", default=""),
    _asks("{side}.injectors.static_flow"),
    _asks("{side}.injectors.rated_pressure", default=UNKNOWN),
    _asks("{side}.injectors.per_cylinder", default=DEFAULTS["per cylinder"].value),
    _asks("{side}.injectors.openings_per_cycle", default=DEFAULTS["openings"].value),
    Question(
        "{side}.injectors.dead_time",
        QUANTITIES["injectors.dead_time.time"].question,
        Answered.DEAD_TIME,
        default=UNKNOWN,
    ),
    Question("{side}.fuel.blend", "Fuel: petrol, E5, E10, E85 ...", Answered.TEXT, default=UNKNOWN),
    _asks("{side}.fuel.rail_pressure"),
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
        _asks("donor.settings.displacement", default=""),
        _asks("donor.settings.static_flow", default=""),
        _asks("donor.settings.stoichiometric", default=""),
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
            QUANTITIES["tables.fuel.lambda"].question,
            Answered.TEXT,
            kind="NUMBER",
            default=UNKNOWN,
        ),
        Question(
            "donor.state",
            "Was it tuned on its engine",
            Answered.CHOICE,
            choices=("tuned", "generic", "unknown"),
            default=UNKNOWN,
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
