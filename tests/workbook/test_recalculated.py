"""LibreOffice calculates every formula again and finds the numbers that the model left beside them."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import pytest

from basemap.workbook import write_workbook
from tests.workbook.libreoffice import formula_cells, needs_libreoffice, recalculated, unlike, values
from tests.workbook.variants import VARIANTS, Variant

pytestmark = [pytest.mark.libreoffice, needs_libreoffice]


@pytest.fixture(scope="module")
def pairs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, Path]]:
    """Every variant's workbook as written, and calculated again, by name."""
    folder = tmp_path_factory.mktemp("recalculated")
    written = []
    for number, variant in enumerate(VARIANTS):
        tables = folder / f"tables{number}"
        tables.mkdir()
        written.append(folder / f"variant{number}.xlsx")
        write_workbook(variant.result(tables), written[-1])
    again = recalculated(written, folder)
    return {variant.name: pair for variant, pair in zip(VARIANTS, zip(written, again, strict=True), strict=True)}


@pytest.mark.law
@pytest.mark.parametrize("variant", VARIANTS, ids=lambda variant: variant.name)
def test_every_cached_value_is_what_the_formula_gives(variant: Variant, pairs: dict[str, tuple[Path, Path]]) -> None:
    written, again = pairs[variant.name]
    formulas = formula_cells(written)
    assert len(formulas) > 10 * variant.rows * variant.cols + 300
    # Honest agreement: 4e-14 relative at worst (LibreOffice writes 15 significant digits); asked for is 1e-9.
    assert unlike(values(written), values(again), formulas) == []


def test_a_wrong_cached_value_is_caught(tmp_path: Path) -> None:
    written = tmp_path / "written.xlsx"
    write_workbook(VARIANTS[2].result(tmp_path), written)
    sabotaged = tmp_path / "sabotaged.xlsx"
    _sabotage(written, sabotaged, "Rows", "I8")
    again = recalculated([sabotaged], tmp_path)[0]
    truth = values(written)[("Rows", "I8")]
    assert isinstance(truth, float)
    found = unlike(values(sabotaged), values(again), formula_cells(sabotaged))
    assert len(found) == 1
    assert found[0].startswith("Rows!I8: 99 became ")
    assert float(found[0].rsplit(" ", 1)[1]) == pytest.approx(truth, rel=1e-9)


def _sabotage(workbook: Path, into: Path, sheet: str, address: str) -> None:
    """Put 99 beside one formula."""
    with zipfile.ZipFile(workbook) as archive, zipfile.ZipFile(into, "w") as written:
        for entry in archive.namelist():
            content = archive.read(entry)
            if entry == f"xl/worksheets/sheet{_sheets(archive).index(sheet) + 1}.xml":
                pattern = rf'(<c r="{address}"[^>]*><f>[^<]*</f><v>)[^<]*(</v>)'
                changed, count = re.subn(pattern, r"\g<1>99\g<2>", content.decode())
                assert count == 1
                content = changed.encode()
            written.writestr(entry, content)


def _sheets(archive: zipfile.ZipFile) -> list[str]:
    return re.findall(r'<sheet name="([^"]*)"', archive.read("xl/workbook.xml").decode())
