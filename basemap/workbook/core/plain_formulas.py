"""Worksheets that write formulas as they are, or only their values."""

from __future__ import annotations

from typing import Any

from xlsxwriter.worksheet import Worksheet


class PlainFormulas(Worksheet):  # type: ignore[misc, unused-ignore]
    """Writes formulas without a search for functions of later versions, since none is used.

    XlsxWriter would try some thirty patterns on each formula, which is half of the time that a workbook takes.
    """

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        del expand_future_functions
        return formula.removeprefix("=")


class FiguresOnly(PlainFormulas):
    """Writes the value of every formula instead of the formula, so that no cell seems to follow an edit."""

    figures_only = True

    def data_validation(self, *_: Any) -> int:  # type: ignore[override, unused-ignore]
        """Set no limits, for nothing can be typed in."""
        return 0
