"""The donor's own table as read, on its own axes, to be compared with the donor's file."""

from __future__ import annotations

from basemap.model.axes import LoadAxis
from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.grid import Axes, WorkbookTable, axis_width_px, column_width_px, plain_scale, write_grid
from basemap.workbook.core.layout import TablePlace
from basemap.workbook.inputs.ecu_inputs import uniform_lambda
from basemap.workbook.pages.tables import quantity_words

SHEET = "Donor table"
_ROW_PX = 22
READ = {
    LoadAxis.MANIFOLD_PRESSURE: "The target's cells are read from it at their own manifold pressure and speed",
    LoadAxis.PRESSURE_RATIO: "The target's cells are read from it at their own MAP/BARO and speed",
    LoadAxis.THROTTLE: "The target's cells are read from it at their own throttle opening and speed",
    LoadAxis.AIR_MASS: "The target's cells are read from it at their own charge density (air per swept volume) and speed",
}


def write_donor_table(book: Book) -> None:
    """Write the sheet."""
    job, table = book.result.job, book.result.job.donor.table
    shown = job.donor.shown or job.target.shown
    axes = Axes(
        rpm=tuple(f"{speed:.10g}" for speed in table.rpm),
        load=tuple(f"{load:.6g}" for load in shown.load),
        load_unit=shown.load_unit,
        reach_rows=shown.load.size,
        reach_cols=table.rpm.size,
    )
    decimals = "0." + "0" * shown.decimals if shown.decimals else "0"
    grids = [WorkbookTable("Donor's table, as read", "", table.values / shown.per_unit, decimals, plain_scale)]
    if not uniform_lambda(job, "donor"):
        grids.append(WorkbookTable("Intended λ, donor's", "", table.intended_lambda, "0.000", plain_scale))
    # A narrow table needs room for the title of the page, too.
    cell = max(column_width_px(["100.00", *axes.rpm]), 640.0 / table.rpm.size)
    page = open_page(book, SHEET, [axis_width_px(axes), *([cell] * table.rpm.size)], tab=style.DONOR_LINE)
    page_head(page, SHEET, quantity_words(book))
    row = HEAD_ROWS + 2
    for grid in grids:
        place = TablePlace(SHEET, row, 1, shown.load.size, table.rpm.size)
        for i in range(place.rows):
            page.ws.set_row_pixels(place.row + i, _ROW_PX)
        write_grid(page, place, axes, grid)
        row = place.last_row + 4
    words = (
        f"Rows: {table.points.axis.value}, {shown.load_unit}; columns: engine speed, rev/min. {READ[table.points.axis]}, "
        "between its cells; beyond its axes its edge is held."
    )
    lines = page.paragraph(row - 2, (0, page.last_col), words, font_size=9, font_color=style.QUIET)
    page.ws.set_row(row - 2, style.height_pt(lines, 9) + 2)
    page.ws.freeze_panes(HEAD_ROWS, 1)
    finish_page(page, row - 2, repeat=(0, HEAD_ROWS - 1))
