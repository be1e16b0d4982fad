"""Bad input, as one clear sentence.

A bug is not bad input: only `InputError` is turned into a message and exit status 2.
"""

from __future__ import annotations


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

    def within(self, *, file: str | None = None, place: str | None = None) -> InputError:
        """The same error with the file or place filled in where it had none."""
        return type(self)(self.problem, file=self.file or file, place=self.place or place)


class NotSupportedYet(InputError):
    """A key of the job file whose capability this version does not have."""


class OutputExists(InputError):
    """A file that would be overwritten without ``--force``."""


def reason(cause: OSError) -> str:
    """What the system says of a failure."""
    return (cause.strerror or str(cause)).lower()
