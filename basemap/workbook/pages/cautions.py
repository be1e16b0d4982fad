"""What is not adapted and why, and who has the last word."""

from __future__ import annotations

from basemap.workbook.core import style
from basemap.workbook.core.flow import Flow, item

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
        "Volumetric efficiency is carried over as it is, unless Summary calls it an estimate. Cams, ports, manifolds and exhaust change it by more than any arithmetic here.",
    ),
    ("Outside the model", "Vapour in the rail, pressure pulsation, wall film, humidity (1 to 4 % richer)."),
)
LAST_WORD = (
    "This workbook says what fuel arithmetic can say. It does not replace a qualified tuner, the makers' instructions, or "
    "local law on road vehicles and emissions. Whoever loads the table answers for it: log lambda from the first start, and "
    "lift off at the first sign of a lean mixture or of knock."
)


def write_cautions(flow: Flow, name: tuple[int, int], why: tuple[int, int]) -> None:
    """Write the cautions below what the page holds, names and reasons in these columns."""
    last = flow.page.last_col
    flow.heading("Not adapted, and why", "calibrate on the engine")
    for words, reason in NOT_ADAPTED:
        flow.line(
            item(0, 0, "▲", font_color=style.CAUTION, align="center"), item(*name, words, bold=True), item(*why, reason),
            bottom=1, bottom_color=style.HAIRLINE,
        )  # fmt: skip
    flow.gap()
    flow.heading("Who has the last word")
    flow.line(item(0, last, LAST_WORD, bg_color=style.CAUTION_FILL, indent=1, font_size=10.5))
