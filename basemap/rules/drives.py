"""The rule on what drives have taught: when a table that they corrected must be accepted before it is loaded."""

from __future__ import annotations

from collections.abc import Iterator

from basemap.model.finding import Severity
from basemap.model.taught import LARGE_CHANGE, LEANER_AT_LOAD, PROBE_NOT_PROVED
from basemap.rules.case import Case
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip


def _held(case: Case) -> Iterator[Answer]:
    drives = case.table.taught
    if drives is None:
        return
    if drives.holds:
        said = "; ".join(f"{hold.name}, {hold.says}" for hold in drives.holds)
        yield Trip(Severity.STOP, f"The drives hold the new table back: {said}.")
    if not drives.proved:
        yield Trip(
            Severity.CAUTION,
            "The wideband is not proved at two points. No log can show a wrong scale, so no cell gets less fuel than "
            f"before the first drive, and the band allows for one that is {200 * PROBE_NOT_PROVED:g} % off (k = 2).",
            "Prove it at two points, then state log.probe_proved, such as [0.80, 1.00], or learn with --probe-proved.",
        )


HELD_AFTER_DRIVES = Rule(
    name="held-after-drives",
    title="Table held back after drives",
    threshold="For a job with drives (`basemap learn`): stop if the last drive crossed a limit of the first-start "
    f"card, if a cell changes by more than {100 * LARGE_CHANGE:g} % from the table in the controller, if a cell at "
    f"load gets more than {100 * LEANER_AT_LOAD:g} % less fuel, or if the drives look like a fuel supply that "
    "cannot keep up. Caution if the wideband is not proved at two points.",
    why="A crossed limit can break the engine, whatever the table. A correction that large is more often a fault or a "
    "bad log than an error in the table.",
    source=PRACTICE,
    remedy="1. Correct the cause of every crossed limit, and log another drive: the last one counts. 2. See on the "
    "page of basemap learn where the change comes from, and measure that. 3. Only then accept it.",
    judge=_held,
    can_stop=True,
)
