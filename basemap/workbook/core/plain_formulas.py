"""Worksheets that take formulas as they are, or leave their values only."""

from __future__ import annotations

from typing import Any

from xlsxwriter.worksheet import Worksheet


class PlainFormulas(Worksheet):  # type: ignore[misc, unused-ignore]
    """Leaves out the search of every formula for functions of later versions, none of which is used here.

    XlsxWriter tries some thirty patterns on each formula, which would be half of the time that a workbook takes.
    """

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        del expand_future_functions
        return formula.removeprefix("=")


class FiguresOnly(PlainFormulas):
    """Keeps the value of every formula and drops the formula: what cannot follow an edit must not seem to."""

    figures_only = True

    def data_validation(self, *_: Any) -> int:  # type: ignore[override, unused-ignore]
        """Nothing can be typed in."""
        return 0
