"""Charts, whose lines differ in dash and marker as well as in colour."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Literal, NamedTuple, cast

from basemap.workbook.core import style
from basemap.workbook.core.book import Page
from basemap.workbook.core.layout import Layout
from basemap.workbook.core.row_places import row_area, speed_area

if TYPE_CHECKING:
    from xlsxwriter.chart_scatter import ChartScatter

_MARKERS = ("circle", "square", "diamond", "triangle", "x")
_DASHES = ("solid", "dash", "round_dot", "long_dash", "dash_dot")
_COLOURS = (style.DONOR_LINE, style.TARGET_LINE, style.THIRD_LINE, style.GREY_LINE, style.CAUTION)


class ChartLine(NamedTuple):
    """One line of a chart: its name and the addresses of its figures."""

    name: str
    x: str
    y: str
    colour: str | None = None


class Plot(NamedTuple):
    """A chart: heading, axis titles and lines; `x_ends` fixes the ends of the horizontal axis."""

    title: str
    x_title: str
    y_title: str
    lines: Sequence[ChartLine]
    x_ends: tuple[float, float] | None = None
    y_format: str = "General"


def scatter(page: Page, plot: Plot, row: int, col: int, size_px: tuple[float, float], x_offset: float = 0.0) -> None:
    """Draw a chart with its upper left corner in a cell."""
    chart = cast("ChartScatter", page.book.workbook.add_chart({"type": "scatter", "subtype": "straight_with_markers"}))
    for index, line in enumerate(plot.lines):
        colour = line.colour or _COLOURS[index % len(_COLOURS)]
        chart.add_series(
            {
                "name": line.name,
                "categories": f"={line.x}",
                "values": f"={line.y}",
                "line": {"color": colour, "width": 1.75, "dash_type": _DASHES[index % len(_DASHES)]},
                "marker": {
                    "type": _MARKERS[index % len(_MARKERS)],
                    "size": 5,
                    "fill": {"color": colour},
                    "border": {"color": colour},
                },
                "smooth": False,
            }
        )
    chart.set_title({"name": plot.title, "name_font": _font(11, bold=True), "overlay": False})
    chart.set_x_axis(_axis(plot.x_title, plot.x_ends, "General"))
    chart.set_y_axis(_axis(plot.y_title, None, plot.y_format) | {"major_gridlines": _GRID_LINE})
    chart.set_legend({"position": "bottom", "font": _font(9)})
    chart.set_chartarea({"border": {"color": style.HAIRLINE}, "fill": {"color": style.PAPER}})
    chart.set_size({"width": round(size_px[0]), "height": round(size_px[1])})
    page.ws.insert_chart(row, col, chart, {"x_offset": x_offset, "object_position": 1})


_GRID_LINE = {"visible": True, "line": {"color": "#DDE2E5", "width": 0.75}}


def _font(size: int, *, bold: bool = False) -> dict[str, Any]:
    return {"name": style.FONT, "size": size, "bold": bold, "color": style.INK}


def _axis(title: str, ends: tuple[float, float] | None, number_format: str) -> dict[str, Any]:
    axis: dict[str, Any] = {
        "name": title,
        "name_font": _font(9),
        "num_font": _font(9),
        "num_format": number_format,
        "label_position": "low",
        "line": {"color": style.GREY_LINE},
        "major_gridlines": {"visible": False},
    }
    if ends is not None:
        axis |= {"min": ends[0], "max": ends[1]}
    return axis


def change_charts(page: Page, layout: Layout, at: tuple[int, int], size_px: tuple[float, float]) -> None:
    """Draw the largest, median and smallest reachable change, over load and over speed, from the cell `at` on."""
    job, width = page.result.job, size_px[0] / 2 - 6
    reachable = page.result.table.reachable
    rows, cols = int(reachable.any(axis=1).sum()), int(reachable.any(axis=0).sum())
    names: tuple[Literal["largest"], Literal["median"], Literal["smallest"]] = ("largest", "median", "smallest")
    over_load = Plot(
        "Change over load, %",
        f"{job.target.table.points.axis.value}, {job.target.shown.load_unit}",
        "new against old, %",
        [ChartLine(name, row_area("load", rows), row_area(name, rows)) for name in names],
        y_format="+0.0;-0.0;0",
    )
    over_speed = Plot(
        "Change over speed, %",
        "engine speed, rev/min",
        "new against old, %",
        [ChartLine(name, speed_area(layout, "rpm", cols), speed_area(layout, name, cols)) for name in names],
        y_format="+0.0;-0.0;0",
    )
    scatter(page, over_load, *at, (width, size_px[1]))
    scatter(page, over_speed, *at, (width, size_px[1]), x_offset=size_px[0] / 2 + 6)
