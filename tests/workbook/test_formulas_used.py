"""Every formula of the workbook shows its value before it is calculated, and means the same in every program.

Next to the tests that calculate the same workbooks, which a process writes once.
"""

from __future__ import annotations

import re

import pytest

from basemap.workbook.core.names import is_readable
from tests.workbook.cells import cells_of, defined_names, formulas_of
from tests.workbook.variants import VARIANTS, Variant, issued

ALLOWED = {
    "ABS", "AND", "COUNT", "EXP", "IF", "IFERROR", "INDEX", "ISNUMBER", "MATCH", "MAX", "MEDIAN", "MIN", "N", "NA", "OR", "ROUND",
    "ROUNDUP", "SQRT", "SUM", "SUMPRODUCT",
}  # fmt: skip


@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: variant.name)
def test_every_formula_has_a_cached_value_and_uses_only_what_every_spreadsheet_program_shares(
    variant: Variant,
) -> None:
    content = issued(variant).content
    formulas = dict(formulas_of(cells_of(content)))
    assert [address for address, cell in formulas.items() if cell.value is None] == []
    used: dict[str, set[str]] = {}
    for (sheet, _), cell in formulas.items():
        bare = re.sub(r'"[^"]*"|\'[^\']*\'', "", str(cell.formula))
        for function in re.findall(r"([A-Z][A-Z0-9.]*)\(", bare):
            used.setdefault(function, set()).add(sheet)
    assert set(used) <= ALLOWED
    assert used.get("ROUND", set()) <= {"To load"}
    assert [name for name in defined_names(content) if not is_readable(name)] == []
