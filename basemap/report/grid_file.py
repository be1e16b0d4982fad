"""The files to load: new tables in the shape of the donor's files."""

from __future__ import annotations

from typing import TYPE_CHECKING

from basemap.model.further_table import FurtherResult
from basemap.model.result import Result
from basemap.model.storage import stored_decimals

if TYPE_CHECKING:
    from basemap.tables.grid import GridLayout


def grid_name(result: Result) -> str:
    """File name of the new table: ``fuel.new.csv`` for a table called fuel whose donor was a .csv file."""
    return f"{result.table.name}.new{_layout(result).form.extension}"


def grid_bytes(result: Result) -> bytes:
    """The file of the new table, with the donor's order, orientation, separator and decimal mark."""
    from basemap.tables.write import render_grid

    job = result.job
    decimals = stored_decimals(job.storage, job.target.shown)
    return render_grid(result.table.to_load, _layout(result), decimals, load=job.target.shown.load)


def further_table_name(found: FurtherResult) -> str:
    """File name of a further table, such as ``crank.new.csv``."""
    from basemap.tables.grid import GridLayout
    from basemap.tables.line import LineLayout

    layout = found.table.layout
    assert isinstance(layout, GridLayout | LineLayout)
    return f"{found.name}.new{layout.form.extension}"


def further_table_bytes(found: FurtherResult) -> bytes:
    """The file of a further table in the donor's shape; a field is empty where no cell can be given."""
    from basemap.tables.grid import GridLayout
    from basemap.tables.line import LineLayout, render_line
    from basemap.tables.write import render_grid

    layout, storage = found.table.layout, found.table.storage
    if isinstance(layout, LineLayout):
        as_read = storage.decimals is None and storage.step is None
        return render_line(found.stored, layout, None if as_read else found.table.decimals)
    assert isinstance(layout, GridLayout)
    return render_grid(found.stored, layout, found.table.decimals, load=found.axes[0].values)


def _layout(result: Result) -> GridLayout:
    """The shape of the donor's file, with the new quantity named where the cells are another one."""
    from basemap.tables.grid import GridLayout

    layout = result.job.layout
    assert isinstance(layout, GridLayout)
    job = result.job
    if job.other_quantity:
        from basemap.tables.orientation import unit_of_text

        # Text above the donor's table or in its corner may name the old unit.
        corner = "" if unit_of_text(layout.corner) else layout.corner
        return layout.with_words(f"New table: {job.target.table.quantity.value} in {job.target.shown.unit}", corner)
    return layout
