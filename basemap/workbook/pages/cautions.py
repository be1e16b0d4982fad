"""What is not adapted, what to do before the engine turns, and who has the last word."""

from __future__ import annotations

from basemap.workbook.core import style
from basemap.workbook.core.book import HEAD_ROWS, Book, finish_page, open_page, page_head
from basemap.workbook.core.flow import Flow, item

_WIDTHS = (26.0, 172.0, 520.0)

NOT_ADAPTED = (
    (
        "Ignition",
        "Another compression ratio, chamber, fuel or octane needs other timing. Knock destroys a piston in seconds.",
    ),
    (
        "Cranking, afterstart, warm-up",
        "Only tables that the job holds are adapted. Cold fuelling depends on how the fuel evaporates.",
    ),
    (
        "Acceleration fuelling",
        "The film of fuel on the port walls depends on the port, the injector's aim and the fuel.",
    ),
    ("Idle air, boost, cams", "Their tables belong to the parts that they move."),
    ("Trigger, firing order, wiring", "They belong to the engine. Check them with the injectors unplugged."),
    ("Sensor scales", "A borrowed map brings its sensor calibrations along; a wrong scale is a wrong mixture."),
    (
        "Breathing",
        "Volumetric efficiency is carried over as it is, unless the Summary says estimated. Cams, ports, manifolds and exhaust change it by more than the arithmetic here.",
    ),
    ("Outside the model", "Vapour in the rail, pressure pulsation, wall film, humidity (1 to 4 % richer)."),
)
BEFORE = (
    "The original file is saved, and its SHA-256 noted.",
    "The new table and every setting on the sheet Summary are entered together.",
    "Fuel pressure is seen on a gauge; nothing leaks.",
    "Ignition timing is checked with a light, at a fixed advance.",
    "An extinguisher is at hand.",
    "Adaptive trims are cleared; closed loop is off until the wideband's scale is proved at two points.",
)
LAST_WORD = (
    "This workbook says what fuel arithmetic can say. It does not replace a qualified tuner, the makers' instructions, or "
    "local law on road vehicles and emissions. Whoever loads the table answers for it: log lambda from the first start, and "
    "lift off at the first sign of a lean mixture or of knock."
)


def write_cautions(book: Book) -> None:
    """Write the sheet."""
    page = open_page(book, "Cautions", _WIDTHS, landscape=False, tab=style.CAUTION)
    page_head(page, "Cautions", "read before the engine turns")
    flow = Flow(page, HEAD_ROWS)
    last = page.last_col
    flow.heading("Not adapted", "calibrate on the engine")
    for name, why in NOT_ADAPTED:
        flow.line(
            item(0, 0, "▲", font_color=style.CAUTION, align="center"), item(1, 1, name, bold=True), item(2, last, why),
            bottom=1, bottom_color=style.HAIRLINE,
        )  # fmt: skip
    flow.gap()
    flow.heading("Before turning the key", "tick by hand")
    for words in BEFORE:
        flow.line(
            item(0, 0, "□", align="center", font_size=14), item(1, last, words), bottom=1, bottom_color=style.HAIRLINE
        )
    flow.gap()
    flow.heading("Who has the last word")
    flow.line(item(0, last, LAST_WORD, bg_color=style.CAUTION_FILL, indent=1, font_size=10.5))
    page.ws.freeze_panes(HEAD_ROWS, 0)
    finish_page(page, flow.row - 1)
