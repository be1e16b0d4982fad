"""Bad input, as one clear sentence.

A bug is not bad input: only `InputError` is turned into a message and exit status 2.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

_PLAIN = re.compile(r"[\w./\\:+~@%,=-]+")
_OBEYED = frozenset('"$`!')
"""What a shell obeys between double quotes too; without it they do for every shell, that of Windows too."""


class InputError(Exception):
    """Something a user wrote cannot be used.

    The message says which file, which key or cell, what is wrong, what was expected and how to mend it.

    Parameters
    ----------
    problem
        What is wrong and what was expected, a sentence without a full stop at its end being added.
    file
        The file as the user named it, where there is one.
    place
        A job-file key such as ``donor.engine.displacement`` or a cell such as ``C4 (row 4, column 3)``.
    """

    def __init__(self, problem: str, *, file: str | None = None, place: str | None = None) -> None:
        self.problem = problem
        self.file = file
        self.place = place
        super().__init__(problem)

    def __str__(self) -> str:
        return ": ".join(part for part in (self.file, self.place, self.problem) if part)

    @property
    def lines(self) -> tuple[str, ...]:
        """What is printed, line by line."""
        return (str(self),)

    def within(self, *, file: str | None = None, place: str | None = None) -> InputError:
        """The same error with the file or place filled in where it had none."""
        return type(self)(self.problem, file=self.file or file, place=self.place or place)


MOST_MISTAKES = 10
"""How many are said at once: whoever mends ten reads the rest with other eyes."""


class Mistakes(InputError):
    """Several things in one file that cannot be used, in the order of the file.

    Parameters
    ----------
    found
        At least two, or the first of them; the first one is what the error itself says.
    count
        How many there are, where `found` has only the first.
    of
        The file that they are in or that names what they are in; by default that of the first.
    """

    def __init__(self, found: Sequence[InputError], count: int | None = None, *, of: str | None = None) -> None:
        self.found = tuple(found)
        self.count = len(self.found) if count is None else count
        self.of = of or found[0].file
        super().__init__(found[0].problem, file=found[0].file, place=found[0].place)

    @property
    def lines(self) -> tuple[str, ...]:
        """How many there are, and the first of them one below the other."""
        more = f", of which the first {MOST_MISTAKES} are" if self.count > MOST_MISTAKES else ""
        each = (str(one).removeprefix(f"{self.of}: ") for one in self.found[:MOST_MISTAKES])
        return (f"{self.of}: {self.count} mistakes{more}:", *(f"  {line}" for line in each))

    def within(self, *, file: str | None = None, place: str | None = None) -> Mistakes:
        """The same mistakes with the file or place filled in where they had none."""
        return Mistakes([one.within(file=file, place=place) for one in self.found], self.count, of=self.of)


def all_of(found: Sequence[InputError], count: int | None = None) -> InputError:
    """One error for what was found: itself where there is one; parameters as of `Mistakes`."""
    return found[0] if len(found) == 1 else Mistakes(found, count)


class NotSupportedYet(InputError):
    """A key of the job file whose capability this version does not have."""


class OutputExists(InputError):
    """A file that would be overwritten without ``--force``."""


def as_typed(name: object) -> str:
    """A name in a command to be copied: in quotes where a shell would take it apart.

    >>> as_typed("my van.toml"), as_typed("jobs/van.toml")
    ('"my van.toml"', 'jobs/van.toml')
    """
    text = str(name)
    if _PLAIN.fullmatch(text):
        return text
    import shlex

    return f'"{text}"' if _OBEYED.isdisjoint(text) else shlex.quote(text)


def reason(cause: OSError) -> str:
    """What the system says of a failure."""
    return (cause.strerror or str(cause)).lower()
