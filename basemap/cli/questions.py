"""What `basemap new` asks."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, replace
from enum import StrEnum

from basemap.adaptation.quantities.kinds import FORMS, Kind
from basemap.adaptation.quantities.registry import QUANTITIES


class Answered(StrEnum):
    """How a piece of an answer is understood."""

    QUANTITY = "quantity"
    COUNT = "count"
    INJECTORS = "injectors"
    CHOICE = "choice"
    SEVERAL = "several"
    FUEL = "fuel"
    DEAD_TIME = "dead time"
    MIXTURE = "mixture"
    AXIS = "axis"
    FILE = "file"
    TEXT = "text"


class When(StrEnum):
    """When a question is asked."""

    ALWAYS = "always"
    NEEDED = "needed"
    """Only where the job cannot do without it."""
    ASSUMED = "assumed"
    """Only where the job would otherwise assume it."""


@dataclass(frozen=True)
class Piece:
    """One value that an answer gives.

    Parameters
    ----------
    key
        Key of the job file.
    words
        Its name.
    form
        How an answer is read.
    kind
        The kind of quantity.
    choices
        For a choice: what people type → the value.
    example
        An example of an answer.
    extra
        True for a word that may be added to an answer but is not asked for.
    """

    key: str
    words: str
    form: Answered = Answered.QUANTITY
    kind: Kind = Kind.NUMBER
    choices: tuple[tuple[str, object], ...] = ()
    example: str = ""
    extra: bool = False


@dataclass(frozen=True)
class Question:
    """One question, whose answer may give several values.

    Parameters
    ----------
    words
        The question; empty if the names of its pieces are the question, without those that a file has answered.
    pieces
        The values that the answer may give.
    help
        Shown for "?": where to find the answer and why it matters.
    when
        When it is asked.
    once_more
        Said before the question is asked a second time because nothing was answered.
    """

    words: str
    pieces: tuple[Piece, ...]
    help: str
    when: When = When.ALWAYS
    once_more: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """Keys of the job file that it asks for."""
        return tuple(piece.key for piece in self.pieces)

    def left(self, answered: Container[str]) -> Question:
        """The part of a question that is left to ask once a file has answered some of its pieces."""
        if self.words:
            return self
        return replace(self, pieces=tuple(piece for piece in self.pieces if piece.key not in answered))

    @property
    def asked(self) -> str:
        """The question as asked."""
        return self.words or "; ".join(piece.words for piece in self.pieces if not piece.extra)


@dataclass(frozen=True)
class QuestionGroup:
    """Questions that belong together, under a heading."""

    heading: str
    questions: tuple[Question, ...]


def _quantity(key: str) -> Piece:
    quantity = QUANTITIES[key.partition(".")[2]]
    kind = quantity.range.kind
    return Piece(key, quantity.question, kind=kind, example=FORMS[kind].example)


def _of(key: str, form: Answered, example: str) -> Piece:
    """A piece with its own form, in the words of its quantity."""
    return Piece(key, QUANTITIES[key.partition(".")[2]].question, form, example=example)


def _choice(key: str, words: str, *choices: str, extra: bool = False, **also: object) -> Piece:
    """A choice among words of the job file; `also` are other words for them."""
    pairs = (*((choice, choice) for choice in choices), *((word.replace("_", " "), also[word]) for word in also))
    return Piece(key, words, Answered.CHOICE, choices=pairs, example=choices[0] if choices else "", extra=extra)


_YES = (("yes", True), ("no", False), ("true", True), ("false", False))
FILE = "donor.tables.fuel.file"
QUANTITY = "donor.tables.fuel.quantity"
LOAD = "donor.tables.fuel.load"
APPLIED = "donor.tables.fuel.ecu_applies"
TITLE = "title"
APPLIES = ("pressure", "lambda", "dead time")

MAP = QuestionGroup(
    "The map",
    (
        Question(
            "The file with its fuel table",
            (Piece(FILE, "The fuel table", Answered.FILE, example="fuel.csv"),),
            "A .csv, .tsv, .txt or .xlsx file with engine speeds along one side and loads along the other. If a "
            "workbook has several tables: fuel.xlsx, sheet Fuel, cells B3:R19.",
        ),
        Question(
            "",
            (
                _choice(QUANTITY, "What its cells hold, volumetric efficiency or pulse width", "volumetric efficiency",
                        "pulse width", ve="volumetric efficiency", ms="pulse width", milliseconds="pulse width",
                        injection_time="pulse width"),
                Piece(LOAD, "Unit of its load axis: kPa, psi gauge, throttle, pressure ratio, mg ...",
                      Answered.AXIS, example="kPa"),
                Piece("donor.tables.fuel.load_unit", "Unit of the load axis", Answered.AXIS, extra=True),
            ),
            "Volumetric efficiency is about 20 to 110 %, or 0.2 to 1.1; pulse width is about 1 to 20 ms. This is "
            "never assumed, for the two are adapted by different equations. For a pressure in a unit other than kPa, "
            "say what it is measured from: bar absolute, psi gauge, inHg vacuum. Or throttle, in %; pressure ratio, "
            "manifold over barometer; mg, g or g/rev of air. Such as: VE, kPa.",
        ),
        Question(
            "Unit of the cells",
            (
                Piece("donor.tables.fuel.unit", "Unit of the cells", Answered.CHOICE, example="%",
                      choices=tuple((unit, unit) for unit in ("%", "ratio", "ms", "us", "s"))),
            ),
            "The file does not say: %, ratio, ms, us (microseconds) or s.",
            When.NEEDED,
        ),
        Question(
            "What the controller still applies to a cell: pressure, lambda, dead time, or none",
            (
                Piece(APPLIED, "What the controller still applies", Answered.SEVERAL,
                      choices=tuple((name, name) for name in APPLIES), example="pressure, dead time"),
            ),
            "Whatever the controller applies to a cell at run time is not in the cell. If you do not know: every "
            "possibility is tried, and the job goes on only if exactly one is plausible.",
            When.NEEDED,
        ),
        Question(
            "Its intended lambda: a number, or a file",
            (_of("donor.tables.fuel.lambda", Answered.MIXTURE, "0.95"),),
            "1 is stoichiometric; 0.85 is rich, as at full load. A file gives it over speed and load, like the "
            "controller's lambda table.",
        ),
        Question(
            "Was the map tuned on its engine: tuned, generic, or unknown",
            (_choice("donor.state", "How the map was made", "tuned", "generic", yes="tuned", base="generic"),),
            "Tuned: on that engine a wideband showed that the mixture was right. Generic: a map to start from.",
        ),
    ),
)  # fmt: skip

PAGE = QuestionGroup(
    "The map's settings page: what its controller was told",
    (
        Question(
            "Displacement, injector flow and stoichiometric ratio as entered there",
            (
                _quantity("donor.settings.displacement"),
                _quantity("donor.settings.static_flow"),
                _quantity("donor.settings.stoichiometric"),
            ),
            "Separate them with commas, such as 1998 cc, 280 cc/min, 14.7; leave out what the page does not say. A "
            "map is right only together with its own page, whether or not the page is true.",
            once_more="The cells mean nothing without the settings they were tuned with. Look again, or press Enter.",
        ),
        Question(
            "Was the page read, and does everything else on it match the fitted parts: yes or no",
            (Piece("donor.settings.same_as_hardware", "The page was read and agrees", Answered.CHOICE, choices=_YES,
                   example="yes"),),
            "Answer yes only if somebody looked: whatever you did not type is then taken from the donor's own engine, "
            "injectors and fuel.",
        ),
    ),
)  # fmt: skip


def _side(side: str) -> tuple[Question, ...]:
    whose = "the donor's" if side == "donor" else "your"
    limit = () if side == "donor" else (_quantity(f"{side}.engine.rev_limit"),)
    return (
        Question(
            f"Displacement and cylinders of {whose} engine",
            (
                _quantity(f"{side}.engine.displacement"),
                _of(f"{side}.engine.cylinders", Answered.COUNT, "4"),
                _choice(f"{side}.engine.cycle", "Cycle", "four-stroke", "two-stroke", extra=True),
                _choice(f"{side}.engine.induction", "Induction", "atmospheric", "boosted", extra=True, turbo="boosted",
                        turbocharged="boosted", supercharged="boosted", naturally_aspirated="atmospheric"),
            ),
            "Such as 1998 cc, 4 cylinders. Add turbo or two-stroke if it is one. Displacement and cylinders are never "
            "assumed: the registration papers or the maker's plate give them.",
        ),
        Question(
            f"Is {whose} engine atmospheric or boosted",
            (_choice(f"{side}.engine.induction", "Induction", "atmospheric", "boosted", turbo="boosted",
                     supercharged="boosted"),),
            "The table has loads above air pressure, which only a boosted engine reaches.",
            When.NEEDED,
        ),
        Question(
            "Its highest manifold pressure",
            (_quantity(f"{side}.engine.peak_pressure"),),
            "Such as 180 kPa, or 0.8 bar gauge.",
            When.NEEDED,
        ),
        Question(
            "Flow of one injector, fully open, and the pressure at which it was rated. If there is not one per "
            "cylinder, add how many, such as 8 injectors; if they open twice a cycle, add twice",
            (
                _quantity(f"{side}.injectors.static_flow"),
                _quantity(f"{side}.injectors.rated_pressure"),
                Piece(f"{side}.injectors.count", "Injectors of the whole engine", Answered.INJECTORS, extra=True),
                _choice(f"{side}.injectors.openings_per_cycle", "Openings of one injector in an engine cycle",
                        extra=True, once=1, once_a_cycle=1, sequential=1, twice=2, twice_a_cycle=2),
            ),
            "Such as 280 cc/min at 3 bar, or 27 lbs/hr at 43.5 psi, 8 injectors, twice. The maker's sheet has flow "
            "and pressure; if you know only the flow, say unknown for the pressure. One injector per cylinder, "
            "opening once a cycle (sequential), is assumed. If each opens at every turn of the crank, say twice.",
        ),
        Question(
            "Rail pressure, and whether its regulator follows the manifold or is fixed",
            (
                _quantity(f"{side}.fuel.rail_pressure"),
                _choice(f"{side}.fuel.regulator", "Pressure regulator", "manifold", "fixed", vacuum="manifold",
                        follows="manifold", hose="manifold", returnless="fixed", no_hose="fixed"),
            ),
            "Such as 3 bar, manifold. Say manifold if a hose runs from the regulator to the manifold, and fixed if the "
            "rail is returnless. Read the pressure on a gauge; it is often stamped on the regulator.",
        ),
        Question(
            "Dead times of these injectors, as V:ms",
            (Piece(f"{side}.injectors.dead_time", QUANTITIES["injectors.dead_time.time"].question, Answered.DEAD_TIME,
                   example="10:1.75 12:1.20 14:0.85"),),
            "Battery voltage, colon, milliseconds, such as 10:1.75 12:1.20 14:0.85. The time that an injector takes "
            "to open. See its maker's sheet, or the settings page of a controller that ran well with it.",
        ),
        Question(
            "Fuel: Super 95, E10, E85 ...",
            (
                Piece(f"{side}.fuel.blend", "Fuel", Answered.FUEL, example="E10"),
                Piece(f"{side}.fuel.octane", "Octane", Answered.FUEL, extra=True),
            ),
            "As the pump names it. Petrol, regular or 95 by itself may contain up to 10 % ethanol; type E0 if it "
            "certainly has none. E85 may contain 51 to 83 %: measure it with a tester. An American pump shows (R+M)/2, "
            "not RON: type 91 AKI.",
        ),
        Question(
            f"Power{', torque and rev limit' if limit else ' and torque'} of {whose} engine, as its maker states them",
            (
                _quantity(f"{side}.engine.rated_power"),
                _quantity(f"{side}.engine.peak_torque"),
                *limit,
            ),
            f"Such as 104 kW @ 6500 rpm, 187 Nm @ 4500 rpm{', 6800 rpm' if limit else ''}. Given for both engines, "
            "power and torque show how much more or less air yours draws, and narrow the band; without them only the "
            f"likeness counts.{' Above the rev limit the table needs no data from the donor.' if limit else ''}",
        ),
    )  # fmt: skip


DONOR = QuestionGroup("The engine it comes from (donor)", _side("donor"))
TARGET = QuestionGroup(
    "Your engine (target)",
    (
        *_side("target"),
        Question(
            "What your engine shares with the donor's: same engine, same head and cams, or another engine",
            (_choice("target.engine.likeness", "Likeness", "same engine", "same head and cams", "another engine",
                     same="same engine", same_head="same head and cams", another="another engine",
                     other="another engine"),),
            "The same engine breathes the same. The same head and cams on another block breathe nearly the same. "
            "Anything else is another engine, however similar it looks.",
        ),
        Question(
            "Does the controller correct for the rail pressure: yes or no",
            (Piece("donor.settings.corrects_rail_pressure", "It corrects for the rail pressure", Answered.CHOICE,
                   choices=_YES, example="no"),),
            "It can only if it has a sensor in the rail or is told the pressure.",
            When.ASSUMED,
        ),
        Question(
            "A title for this job",
            (Piece(TITLE, "What this job is called", Answered.TEXT, example="2.0 map onto the 2.4"),),
            "It heads everything that is printed. Enter: the name of the job file.",
        ),
    ),
)  # fmt: skip

GROUPS = (MAP, PAGE, DONOR, TARGET)
QUESTIONS = tuple(question for group in GROUPS for question in group.questions)
