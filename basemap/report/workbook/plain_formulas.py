"""A worksheet that takes formulas as they are."""

from __future__ import annotations

from xlsxwriter.worksheet import Worksheet


class PlainFormulas(Worksheet):  # type: ignore[misc, unused-ignore]
    """Leaves out the search of every formula for functions of later versions, none of which is used here.

    XlsxWriter tries some thirty patterns on each formula, which would be half of the time that a workbook takes.
    """

    def _prepare_formula(self, formula: str, expand_future_functions: bool = False) -> str:
        del expand_future_functions
        return formula.removeprefix("=")
