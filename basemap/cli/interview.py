"""The conversation of `basemap new`: one question after the other, each answer tried before it is kept."""

from __future__ import annotations

import sys
import textwrap
from typing import Any

from basemap.adaptation.quantities.quantity import Default
from basemap.adaptation.quantities.registry import DEFAULTS
from basemap.cli.answers import Values, in_words, is_unknown, understood
from basemap.cli.draft import Draft, is_about
from basemap.cli.output import console, say
from basemap.cli.questions import GROUPS, QUESTIONS, TITLE, Answered, Piece, Question, QuestionGroup, When
from basemap.cli.seen import show_table, taken_from
from basemap.cli.widening import widening
from basemap.errors import InputError
from basemap.jobfile.quantities import UNKNOWN

_INDENT = "    "
_WIDTH = 78
_YES_NO = {"true": "yes", "false": "no"}
_BACK = ("back", "b", "undo")


class AnswersEnded(Exception):
    """There is nobody left to answer."""


class _Back(Exception):
    """The question before is to be asked again."""


class Interview:
    """All questions in turn.

    Parameters
    ----------
    draft
        Collects the answers.
    at
        Number of the question to begin with.
    """

    def __init__(self, draft: Draft, at: int = 0) -> None:
        self.draft = draft
        self.at = at
        self.asked = [before for before in range(at) if any(key in draft.values for key in QUESTIONS[before].keys)]
        self._heading = ""

    def run(self) -> None:
        """Ask until the job is whole."""
        while True:
            while self.at < len(QUESTIONS):
                self._next()
            try:
                self.draft.job(whole=True)
            except InputError as problem:
                self._again(problem)
            else:
                return

    def _next(self) -> None:
        question = QUESTIONS[self.at]
        if not self._is_asked(question):
            self.at += 1
            return
        self._head(question)
        try:
            self._ask(question.left(self.draft.values))
        except _Back:
            self._back()
            return
        self.asked.append(self.at)
        self.at += 1

    def _back(self) -> None:
        if not self.asked:
            say(f"{_INDENT}This is the first question.\n")
            return
        self.at = self.asked.pop()
        question = QUESTIONS[self.at]
        self.draft.without(question)
        if not question.words:  # what the file says of itself still stands
            said = taken_from(self.draft, self.draft.values)
            self.draft.values |= {key: said[key] for key in question.keys if key in said}

    def _again(self, problem: InputError) -> None:
        """Go back to the question that a problem of the whole job is about."""
        about = [at for at, one in enumerate(QUESTIONS) if is_about(problem, one.keys)]
        if not about:
            raise problem
        _say(f"These answers do not make a job yet: {problem.problem}.")
        self.at = about[0]
        self.draft.without(QUESTIONS[self.at])

    def _is_asked(self, question: Question) -> bool:
        keys, draft = question.keys, self.draft
        if question.when is When.ALWAYS:
            return not all(piece.key in draft.values for piece in question.pieces if not piece.extra)
        if any(draft.values.get(key) is not None for key in keys):
            return False
        if question.when is When.NEEDED:
            return draft.is_needed(keys)
        return any(draft.assumed(key) is not None for key in keys)

    def _head(self, question: Question) -> None:
        group = next(group for group in GROUPS if question in group.questions)
        if group.heading != self._heading:
            self._heading = group.heading
            say(f"\n{group.heading.upper()} ({GROUPS.index(group) + 1} of {len(GROUPS)})\n")
        number, total = self._count(group, question)
        left = question.left(self.draft.values)
        _say(f"{number} of {total}  {left.asked}", "  ")
        if left_out := self._left_out(left):
            _say(f"[Enter: {left_out}]")
            if costs := widening(self.draft, self._settled(left, {}, empty=True)):
                _say(costs)

    def _count(self, group: QuestionGroup, question: Question) -> tuple[int, int]:
        """The number of a question in its group, and how many will be asked, as far as is known."""
        before = {QUESTIONS[at] for at in self.asked}
        shown = [one for one in group.questions if one in before or one is question or self._is_asked(one)]
        return shown.index(question) + 1, len(shown)

    def _ask(self, question: Question) -> None:
        """Ask until there is an answer that `check` would take."""
        given: Values = {}
        marks = 0
        once_more = bool(question.once_more)
        while True:
            answer = _typed()
            marks = marks + 1 if answer == "?" else 0
            if answer.casefold() in _BACK:
                raise _Back
            if marks == 1:
                self._help(question)
                continue
            try:
                now = understood(question, UNKNOWN if marks else answer) if answer else {}
                found = self._settled(question, {**now, **given} if UNKNOWN in now.values() else {**given, **now},
                                      empty=not answer)  # fmt: skip
            except InputError as problem:
                _say(f"{_sentence(problem)} (? for help)")
                continue
            if once_more and not any(_is_value(value) for value in found.values()):
                once_more = False
                self._costs(question, found)
                _say(question.once_more)
                continue
            missing = self._missing(question, found)
            if missing is not None:
                lead = "And" if answer else "This cannot be left out"
                say(f"{_INDENT}{lead}: {missing.words.lower()}, such as {missing.example}\n")
                given = {key: value for key, value in found.items() if value is not None}
                continue
            self._keep(question, found, silent=bool(question.once_more) and not once_more)
            return

    def _left_out(self, question: Question) -> str:
        """What Enter alone means; empty if an answer is needed."""
        if any(piece.form is Answered.FILE for piece in question.pieces):
            return ""
        try:
            found = self._settled(question, {}, empty=True)
        except InputError:
            return ""
        if self._missing(question, found) is not None:
            return ""
        if TITLE in found:
            return self.draft.path.stem
        assumed = [self.draft.assumed(key, found) for key in found]
        words = ", ".join(_YES_NO.get(one.value, one.value) for one in assumed if one is not None)
        return words or (UNKNOWN if UNKNOWN in found.values() else "left out")

    def _settled(self, question: Question, given: Values, *, empty: bool) -> Values:
        """The answer with its open pieces left out, or as unknown, as the job file allows.

        Raises
        ------
        InputError
            What `check` has against it.
        """
        found = {key: value for key, value in given.items() if value != UNKNOWN}
        if any(piece.form is Answered.FILE for piece in question.pieces):
            if not found:
                raise InputError("the table itself is needed: export it, or copy its cells into a spreadsheet")
            return found | taken_from(self.draft, found)
        for piece in question.pieces:
            if piece.extra or (piece.key in given and given[piece.key] != UNKNOWN):
                continue
            said = given.get(piece.key) == UNKNOWN and piece.key != TITLE  # nobody calls a job so
            for value in (UNKNOWN, None) if said else (None, UNKNOWN) if empty else (None,):
                more = {**found, piece.key: value}
                if self.draft.problem([piece.key], more) is None:
                    found[piece.key] = value
                    break
            else:
                if said:
                    raise self._never_assumed(piece, found)
        if (problem := self.draft.problem(found, found)) is not None:
            raise problem
        return found

    def _never_assumed(self, piece: Piece, found: Values) -> InputError:
        why = self.draft.problem([piece.key], {**found, piece.key: None})
        reason = "" if why is None else f": {why.problem.removeprefix('missing: ')}"
        return InputError(
            f"{piece.words} cannot be left open{reason}. Press Ctrl-C to keep the answers until you know it"
        )

    def _missing(self, question: Question, found: Values) -> Piece | None:
        """The first piece that is missing from the answer and that the job needs."""
        return next((one for one in question.pieces if one.key not in found and not one.extra), None)

    def _keep(self, question: Question, found: Values, *, silent: bool) -> None:
        self.draft.values |= found
        said = [in_words(key, value) for key, value in found.items() if _is_value(value)]
        if any(piece.form is Answered.FILE for piece in question.pieces):
            show_table(self.draft)
        elif said:
            _say(f"= {', '.join(said)}")
        if not silent:
            self._costs(question, found)

    def _costs(self, question: Question, found: Values) -> None:
        """Say what is assumed for an unknown input, and what that affects."""
        for piece in question.pieces:
            if piece.extra or _is_value(found.get(piece.key)):
                continue
            assumed = self.draft.assumed(piece.key, found)
            default = _default(piece)
            if assumed is None and found.get(piece.key) == UNKNOWN and default is not None:
                _say(f"{piece.words}: unknown; this affects {default.moves}.")
            if assumed is not None:
                spread = f" ± {assumed.half_width}" if assumed.half_width else ""
                moves = f"; this affects {assumed.moves}" if assumed.moves else ""
                _say(f"{piece.words}: assumed {_YES_NO.get(assumed.value, assumed.value)}{spread}{moves}.")

    def _help(self, question: Question) -> None:
        _say(question.help)
        for piece in question.pieces:
            default = _default(piece)
            if default is not None:
                _say(f"{piece.words}, not known: {default.text}; this affects {default.moves}.")
        _say(
            "unknown, or ? again: you do not know it. back: the previous question. Ctrl-C: keep the answers and "
            "continue later."
        )


def _default(piece: Piece) -> Default | None:
    """The default for an unknown input; where that differs, not the one for an input left out."""
    found = [one for one in DEFAULTS.values() if _is_for(one.key, piece.key) and one.moves]
    return next((one for one in found if one.when != "left out"), found[0] if found else None)


def _is_for(default: str, key: str) -> bool:
    return bool(default) and default in (key, key.partition(".")[2])


def _is_value(value: Any) -> bool:
    return value is not None and value != UNKNOWN


def _sentence(problem: InputError) -> str:
    if problem.file and not problem.place:
        return f"{problem.file}: {problem.problem}."  # a name is as it was typed
    return f"{problem.problem[:1].upper()}{problem.problem[1:]}."


def _say(text: str, indent: str = _INDENT) -> None:
    width = min(console().width - 1, _WIDTH)
    say("\n".join(textwrap.wrap(text, width, initial_indent=indent, subsequent_indent=_INDENT)) + "\n")


def _typed() -> str:
    """Read one line of answers.

    Raises
    ------
    AnswersEnded
        If no line is left.
    """
    say("  > ")
    line = sys.stdin.readline()
    if not line:
        raise AnswersEnded
    if not sys.stdin.isatty():
        say("\n")
    answer = line.strip()
    return UNKNOWN if is_unknown(answer) else answer
