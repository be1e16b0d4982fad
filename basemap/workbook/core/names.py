"""Defined names of cells, which the formulas of the workbook and the reader of a returned one use."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from xlsxwriter.workbook import Workbook

_READABLE = re.compile(r"[a-z]+(_[a-z]+)+")


def is_readable(name: str) -> bool:
    """Whether a name is words with underscores between: so it is never an address such as ``TAU1``, nor ``R`` or ``C``.

    >>> is_readable("donor_rail_pressure"), is_readable("tau1"), is_readable("displacement")
    (True, False, False)
    """
    return _READABLE.fullmatch(name) is not None


@dataclass
class Names:
    """The names defined so far, each with its absolute address."""

    at: dict[str, str] = field(default_factory=dict)

    def define(self, workbook: Workbook, name: str, address: str) -> None:
        """Name a cell or an area.

        Raises
        ------
        ValueError
            Where the name is not readable or already defined: a bug in a page, never the fault of a user.
        """
        if not is_readable(name) or name in self.at:
            raise ValueError(f"no name for a cell: {name}")
        self.at[name] = address
        workbook.define_name(name, f"={address}")
