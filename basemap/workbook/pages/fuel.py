"""Fuels: their components, and the stoichiometric ratio and density in the rail that follow for each side."""

from __future__ import annotations

from typing import NamedTuple

from xlsxwriter.utility import xl_range_abs, xl_rowcol_to_cell

from basemap.constants import AIR_MOLAR_MASS, ATOMIC_MASS, OXYGEN_IN_AIR, ZERO_CELSIUS
from basemap.explain import equations
from basemap.model.installation import Fuel
from basemap.model.job import SIDES, SideName
from basemap.physics.fuel import BLENDS, COMPONENTS, component_density
from basemap.physics.fuel_density import REFERENCE_C
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, Page, finish_page, open_page, page_head
from basemap.workbook.core.cells import live, number, text
from basemap.workbook.inputs.fuel_inputs import expands_as_typed
from basemap.workbook.inputs.input_cell import AS_PARTS, AS_TYPED, PART_NAMES, plain

SHEET = "Fuel"
_WIDTHS = (158.0,) + (74.0,) * 8
_NAMES = tuple(COMPONENTS)
_COMPONENTS_ROW = HEAD_ROWS + 2
_BLENDS_ROW = _COMPONENTS_ROW + len(_NAMES) + 3
_SIDES_ROW = _BLENDS_ROW + len(BLENDS) + 3
_SIDE_ROWS = len(_NAMES) + 7
_COMPONENT_HEADS = ("component", "C", "H", "O", "L", "ρ at 15 °C", "b", "c")
_SIDE_HEADS = ("component", "share, vol %", "kg in 1 m³", "ρ in the rail")
_PARTS_SLACK_PERCENT = 0.5


class _Quadratic(NamedTuple):
    """Density of a pure liquid: ρ15 + b·Δ + c·Δ², Δ = t − 15 °C."""

    b: float
    c: float


def _quadratic(name: str) -> _Quadratic:
    """The coefficients of a component, from three densities of the physics."""
    at_15, at_35, at_55 = (component_density(name, t + ZERO_CELSIUS) for t in (15.0, 35.0, 55.0))
    c = (at_55 - 2.0 * at_35 + at_15) / 800.0
    return _Quadratic((at_35 - at_15) / 20.0 - 20.0 * c, c)


def write_fuel(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, SHEET, _WIDTHS, landscape=False, tab=style.GREY_LINE)
    page_head(page, "Fuel", "stoichiometric ratio and density in the rail follow from the composition")
    _write_components(page)
    _write_blends(page)
    last = _SIDES_ROW
    for index, side in enumerate(_known_sides(book)):
        last = _write_side(page, side, _SIDES_ROW + index * _SIDE_ROWS)
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, last)


def _known_sides(book: Book) -> list[SideName]:
    return [side for side in SIDES if book.result.job.side(side).fuel_known]


def _heading(page: Page, row: int, words: str, heads: tuple[str, ...]) -> None:
    book = page.book
    text(page.ws, row - 2, 0, words, book.style(bold=True, font_size=12))
    for col, head in enumerate(heads):
        look = book.style(
            bg_color=style.AXIS, font_color=style.ON_BAR, bold=True, font_size=9, align="left" if col == 0 else "center"
        )
        text(page.ws, row - 1, col, head, look)


def _cell(row: int, col: int) -> str:
    return str(xl_rowcol_to_cell(row, col, row_abs=True, col_abs=True))


def _column(row: int, col: int) -> str:
    return str(xl_range_abs(row, col, row + len(_NAMES) - 1, col))


def _write_components(page: Page) -> None:
    """The components: chemical formula, stoichiometric ratio from the balance of C, H and O, density."""
    book, ws = page.book, page.ws
    _heading(page, _COMPONENTS_ROW, "Components", _COMPONENT_HEADS)
    plain_look = book.style(align="center", num_format="0.######")
    for index, name in enumerate(_NAMES):
        row, component = _COMPONENTS_ROW + index, COMPONENTS[name]
        text(ws, row, 0, name, book.style(bold=True))
        for col, atoms in enumerate((component.carbon, component.hydrogen, component.oxygen), start=1):
            number(ws, row, col, atoms, plain_look)
        c, h, o = (_cell(row, col) for col in (1, 2, 3))
        mass = f"({plain(ATOMIC_MASS['C'])}*{c}+{plain(ATOMIC_MASS['H'])}*{h}+{plain(ATOMIC_MASS['O'])}*{o})"
        formula = f"=({c}+{h}/4-{o}/2)/{plain(OXYGEN_IN_AIR)}*{plain(AIR_MOLAR_MASS)}/{mass}"
        live(ws, row, 4, formula, component.stoichiometric, book.style(align="center", num_format="0.0000"))
        number(ws, row, 5, component.density_15, book.style(align="center", num_format="0.000"))
        quadratic = None if name == "petrol" else _quadratic(name)
        for col, figure in enumerate((quadratic.b, quadratic.c) if quadratic else (), start=6):
            number(ws, row, col, figure, book.style(align="center", num_format="0.000E+00"))
        if quadratic is None:
            text(ws, row, 6, "ASTM D1250-80 table 54B", book.style(font_size=8.5, font_color=style.QUIET))


def _write_blends(page: Page) -> None:
    """Blends by name, as shares by volume at 15 °C."""
    book, ws = page.book, page.ws
    _heading(page, _BLENDS_ROW, "Blends by name, vol % at 15 °C", ("blend", *_NAMES))
    for index, (name, parts) in enumerate(BLENDS.items()):
        row = _BLENDS_ROW + index
        text(ws, row, 0, name, book.style(bold=True))
        for col, component in enumerate(_NAMES, start=1):
            number(ws, row, col, 100.0 * parts.get(component, 0.0), book.style(align="center", num_format="0.##"))
    last = _BLENDS_ROW + len(BLENDS) - 1
    book.names.define(book.workbook, "blend_names", f"{SHEET}!{xl_range_abs(_BLENDS_ROW, 0, last, 0)}")
    book.names.define(book.workbook, "blend_shares", f"{SHEET}!{xl_range_abs(_BLENDS_ROW, 1, last, len(_NAMES))}")


def _write_side(page: Page, side: SideName, row: int) -> int:
    """Write the composition of one side's fuel and what follows from it; return the last row."""
    book, job = page.book, page.result.job
    fuel = job.side(side).hardware.fuel
    _heading(page, row, f"{side.capitalize()}'s fuel", _SIDE_HEADS)
    total = row + len(_NAMES)
    shares = dict(fuel.parts)
    for index, component in enumerate(_NAMES):
        _component_row(page, side, (row + index, index), shares.get(component, 0.0), fuel)
    _results(page, side, row, fuel)
    book.names.define(book.workbook, f"{side}_parts_total", f"{SHEET}!{_cell(total, 1)}")
    return total + (3 if job.donor.told.fuel_density is None else 4)


def _component_row(page: Page, side: SideName, place: tuple[int, int], share: float, fuel: Fuel) -> None:
    book, ws, (row, index) = page.book, page.ws, place
    name, component = _NAMES[index], COMPONENTS[_NAMES[index]]
    part = f"{side}_part_{PART_NAMES[name]}_used"
    text(ws, row, 0, name, book.style())
    by_name = f"INDEX(blend_shares,MATCH({side}_fuel,blend_names,0),{index + 1})"
    shares = f'=IF({side}_fuel="{AS_TYPED}",0,IF({side}_fuel="{AS_PARTS}",100*{part}/{side}_parts_total,{by_name}))'
    live(ws, row, 1, shares, 100.0 * share, book.style(align="center", num_format="0.0###"))
    density_15 = _cell(_COMPONENTS_ROW + index, 5)
    live(
        ws,
        row,
        2,
        f"={_cell(row, 1)}*{density_15}/100",
        share * component.density_15,
        book.style(align="center", num_format="0.000"),
    )
    value = component_density(name, fuel.temperature_k)
    live(ws, row, 3, f"={_density_formula(side, index)}", value, book.style(align="center", num_format="0.000"))


def _density_formula(side: SideName, index: int) -> str:
    warmer = f"({side}_fuel_temperature_used-{plain(REFERENCE_C)})"
    density, b, c = (_cell(_COMPONENTS_ROW + index, col) for col in (5, 6, 7))
    if _NAMES[index] == "petrol":
        return _petrol_formula(density, warmer)
    return f"{density}+{b}*{warmer}+{c}*{warmer}^2"


def _petrol_formula(density: str, warmer: str) -> str:
    """ASTM D1250-80, table 54B, both branches."""
    expansion = f"IF({density}<=770,346.4228/{density}^2+0.4388/{density},2680.3206/{density}^2-0.00336312)*{warmer}"
    return f"{density}*EXP(-{expansion}*(1+0.8*{expansion}))"


def _results(page: Page, side: SideName, row: int, fuel: Fuel) -> None:
    """Sum of the parts, stoichiometric ratio, density in the rail."""
    book, ws, job = page.book, page.ws, page.result.job
    total = row + len(_NAMES)
    mass, ratios, densities = _column(row, 2), _column(_COMPONENTS_ROW, 4), _column(row, 3)
    parts = "+".join(f"{side}_part_{PART_NAMES[name]}_used" for name in _NAMES)
    check = f'=IF(AND({side}_fuel="{AS_PARTS}",ABS({parts}-100)>{_PARTS_SLACK_PERCENT}),NA(),{parts})'
    stated = sum(_stated_part(page, side, name) for name in _NAMES)
    typed = f"{side}_typed_density_used"
    if expands_as_typed(job, side):
        typed = _petrol_formula(typed, f"({side}_fuel_temperature_used-{plain(REFERENCE_C)})")
    ratio = f'=IF({side}_fuel="{AS_TYPED}",{side}_typed_stoichiometric_used,SUMPRODUCT({mass},{ratios})/SUM({mass}))'
    density = f'=IF({side}_fuel="{AS_TYPED}",{typed},SUM({mass})/SUMPRODUCT({mass}/{densities}))'
    rows: tuple[tuple[str, str, float, str, str, str | None], ...] = (
        ("parts as entered, sum", check, stated, "0.0", "vol %; #N/A unless 99.5 to 100.5", None),
        ("stoichiometric ratio L", ratio, fuel.stoichiometric, "0.0000", "", f"{side}_{equations.RATIO.cell}"),
        ("density in the rail", density, fuel.density, "0.000", "kg/m³", f"{side}_{equations.DENSITY.cell}"),
    )
    if job.donor.told.fuel_density is not None and fuel.density_15 is not None:
        # A blend cannot be typed as a density here: one in the rail does not tell the density at 15 °C.
        at_15 = f"=SUM({mass})"
        if expands_as_typed(job, side):
            at_15 = f'=IF({side}_fuel="{AS_TYPED}",{side}_typed_density_used,SUM({mass}))'
        rows += (("density at 15 °C", at_15, fuel.density_15, "0.000", "kg/m³", f"{side}_standard_density"),)
    for offset, (words, formula, value, shape, unit, name) in enumerate(rows):
        text(ws, total + offset, 0, words, book.style(bold=True, font_size=9))
        live(
            ws,
            total + offset,
            1,
            formula,
            value,
            book.style(align="center", num_format=shape, bold=True, bg_color=style.GOOD_FILL),
        )
        text(ws, total + offset, 2, unit, book.style(font_size=9, font_color=style.QUIET))
        if name is not None:
            book.names.define(book.workbook, name, f"{SHEET}!{_cell(total + offset, 1)}")


def _stated_part(page: Page, side: SideName, component: str) -> float:
    """A part as its input cell holds it, vol %."""
    wanted = f"{side}_part_{PART_NAMES[component]}"
    return next(float(one.value) for one in page.book.inputs if one.name == wanted)
