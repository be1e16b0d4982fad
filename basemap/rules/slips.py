"""Typing errors in cells: a cell that differs from the values that its neighbours suggest.

The neighbours suggest a value for a cell in up to ten ways: the lines through the two cells on its left, on its right,
below and above; the line between its two neighbours along either axis; and, for each of the four corner cells, the sum
of the two cells beside it less that corner. At a real step, such as a cam that switches or the onset of boost, some of
these lie on the cell's own side of it and agree with the cell. Around a typing error they all agree with each other, so
most of them must.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from basemap.model.finding import Severity
from basemap.model.installation import BoolArray, Cycle, FloatArray
from basemap.model.table import TableQuantity
from basemap.rounding import cells, excess, percent_down, percent_up, rounded_down
from basemap.rules.case import Case, pairs
from basemap.rules.grading import worst
from basemap.rules.rule import PRACTICE, Answer, Rule, Trip

SLIP = 0.25
"""How far a cell may be from what its neighbours suggest, relative. Common practice, no source: a cam that switches
moves the volumetric efficiency by 5 to 18 %."""

MOST = 0.6
"""Share of the views that must agree. At the corner of a stepped area, and at the edge of a table, half of them do."""

LEAST_VIEWS = 3

OVER = 0.5
"""Share of the lines across a column that must agree."""

WIDEST, SPAN = 5, 0.4
"""Cells, and share of the speeds, over which a line is drawn. Common practice, no source."""

VE_NO_ENGINE = (0.25, 1.5)
"""Outside these no four-stroke has its volumetric efficiency at load: tuned pipes reach 1.25 (practice, no source)."""

DELIVERED_BY_NO_ENGINE = 2.0
"""Above this no two-stroke has its delivery ratio, which has no lower end; a tuned pipe reaches 1.4 (from memory)."""


def _along(values: FloatArray, axis: FloatArray) -> Iterator[FloatArray]:
    """What the cells on the left, on both sides and on the right suggest, along the last axis; NaN without them."""
    yield _continued(values, axis)
    between = np.full(values.shape, np.nan)
    share = (axis[1:-1] - axis[:-2]) / (axis[2:] - axis[:-2])
    between[:, 1:-1] = values[:, :-2] * (1.0 - share) + values[:, 2:] * share
    yield between
    yield _continued(values[:, ::-1], -axis[::-1])[:, ::-1]


def _continued(values: FloatArray, axis: FloatArray) -> FloatArray:
    """The line through the two cells on the left, continued by their gap at most, because it magnifies their noise."""
    found = np.full(values.shape, np.nan)
    gaps = np.diff(axis)
    steps = np.minimum(gaps[1:] / gaps[:-1], 1.0)
    found[:, 2:] = values[:, 1:-1] + np.diff(values, axis=1)[:, :-1] * steps
    return found


def _across(values: FloatArray) -> Iterator[FloatArray]:
    """What each corner suggests: an engine's breathing is nearly a function of speed times one of load."""
    padded = np.pad(values, 1, constant_values=np.nan)
    rows, columns = values.shape

    def beside(down: int, right: int) -> FloatArray:
        return padded[1 + down : 1 + down + rows, 1 + right : 1 + right + columns]

    for down in (-1, 1):
        for right in (-1, 1):
            yield beside(down, 0) + beside(0, right) - beside(down, right)


def slips(values: FloatArray, rpm: FloatArray, load: FloatArray, among: BoolArray, no_engine: BoolArray) -> FloatArray:
    """How far each typing error is from what its neighbours suggest, ln; 0 elsewhere.

    The clearest one is taken out first, and the rest judged without it, because beside it a sound cell has few good
    neighbours.

    Parameters
    ----------
    values, rpm, load
        As in `departures`.
    among
        The cells that are judged.
    no_engine
        Cells that no engine has, which are reported on their own: no cell is compared with them over several cells.
    """
    rest, found = np.array(values), np.zeros(values.shape)
    for look in (departures, _notched):
        if look is _notched:
            rest[no_engine] = np.nan
        while True:
            off, agreed = look(rest, rpm, load)
            beyond = among & ((off < math.log1p(-SLIP)) | (off > math.log1p(SLIP)))
            if not beyond.any():
                break
            cell = worst(agreed * np.abs(off), beyond, above=True)
            found[cell], rest[cell] = off[cell], np.nan
    return found


def _notched(values: FloatArray, rpm: FloatArray, _: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same along the speeds alone: in a column that is wrong at every load, the cells above and below agree."""
    off = notches(values, rpm)
    return off, np.where(off < 0.0, 2.0, 1.0)  # beside a lean cell, sound ones look rich


def departures(values: FloatArray, rpm: FloatArray, load: FloatArray) -> tuple[FloatArray, FloatArray]:
    """How far a cell is from what most of its neighbourhood suggests; 0 where the views differ.

    Parameters
    ----------
    values
        Logarithms, shape (loads, speeds); NaN where there is none.
    rpm, load
        The points of the axes, rising.

    Returns
    -------
    The distance on which at least `MOST` of the views agree, ln, negative where the cell holds too little; and the
    share of the views that see at least half that distance, in the same direction.
    """
    views = [*_across(values)]
    if rpm.size > 2:
        views += _along(values, rpm)
    if load.size > 2:
        views += (view.T for view in _along(values.T, load))
    return _agreed(values - np.stack(views), MOST)


def _agreed(off: FloatArray, most: float) -> tuple[FloatArray, FloatArray]:
    """The distance on which a share of the views agree, 0 where they differ; and the share that sees half of it."""
    ranked = np.sort(off, axis=0)  # NaN comes last
    count = np.isfinite(ranked).sum(axis=0)
    reach = np.ceil(most * count).astype(np.int64)
    enough = count >= LEAST_VIEWS
    low = np.where(enough, _pick(ranked, np.maximum(reach - 1, 0)), 0.0)  # `reach` of them are no higher
    high = np.where(enough, _pick(ranked, np.maximum(count - reach, 0) % off.shape[0]), 0.0)  # and as many no lower
    low, high = np.minimum(low, 0.0), np.maximum(high, 0.0)
    found = np.where(-low >= high, low, high)
    beyond = np.where(found < 0.0, ranked <= 0.5 * found, ranked >= 0.5 * found).sum(axis=0)
    return found, np.asarray(beyond / np.maximum(count, 1))


def _pick(ranked: FloatArray, at: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> FloatArray:
    return np.asarray(np.take_along_axis(ranked, at[np.newaxis], axis=0)[0])


def notches(values: FloatArray, axis: FloatArray) -> FloatArray:
    """How far each value is from the lines across it, along the last axis, ln; 0 where there are few lines.

    A line goes from one of the nearest cells on the left to one on the right, up to `WIDEST` cells and `SPAN` of the
    axis apart. Half of them must agree, as they do around one wrong column, but not beside a step.
    """
    spans = [(left, right) for left in range(1, WIDEST) for right in range(1, WIDEST + 1 - left)]
    off = np.stack([_over(values, axis, left, right) for left, right in spans])
    return _agreed(off, OVER)[0]


def _over(values: FloatArray, axis: FloatArray, left: int, right: int) -> FloatArray:
    """Distance from the line between the cells `left` and `right` places away; NaN where the line is too long."""
    off = np.full(values.shape, np.nan)
    wide = axis.size - left - right
    if wide < 1:
        return off
    first, last = axis[:wide], axis[left + right :]
    middle = slice(left, left + wide)
    share = (axis[middle] - first) / (last - first)
    line = values[:, :wide] * (1.0 - share) + values[:, left + right :] * share
    near = last - first <= SPAN * (axis[-1] - axis[0])
    off[:, middle] = np.where(near, values[:, middle] - line, np.nan)
    return off


def _air(case: Case) -> FloatArray:
    """Logarithm of the volumetric efficiency, or of the cells themselves if the air is not known."""
    ve = case.table.implied_ve
    known = np.isfinite(ve).any()
    with np.errstate(invalid="ignore", divide="ignore"):
        ln = np.log(ve if known else case.table.old)
    return np.where(np.isfinite(ln), ln, np.nan)


def _slip_at_load(case: Case) -> Iterator[Answer]:
    table = case.job.donor.table
    low, high = _limits(case)
    ve = np.where(case.at_load, case.table.implied_ve, np.nan)
    no_engine = (ve < low) | (ve > high)
    off = slips(_air(case), table.rpm, table.load_pa, case.at_load, no_engine)
    lean, rich = off < 0.0, off > 0.0
    if (lean | rich).any():
        cell = _worst(np.abs(off), lean, rich)
        ratio = math.exp(off[cell])
        yield Trip(
            Severity.STOP,
            f"At {case.address(cell)} the donor's file holds {_held(case, cell)}, {_how_far(ratio)} what the cells "
            f"around it suggest{_instead(case, cell, ratio)} (stop beyond {100 * SLIP:g} %; {_counted(lean, rich)}).",
            value=100.0 * abs(ratio - 1.0),
            limit=100.0 * SLIP,
            cells=(*pairs(lean), *pairs(rich)),
        )
    yield from _no_engine(case, lean | rich)


def _two_stroke(case: Case) -> bool:
    return case.job.donor.hardware.engine.cycle is Cycle.TWO_STROKE


def _limits(case: Case) -> tuple[float, float]:
    """Lowest and highest volumetric efficiency of any engine at load."""
    return (0.0, DELIVERED_BY_NO_ENGINE) if _two_stroke(case) else VE_NO_ENGINE


def _no_engine(case: Case, said: BoolArray) -> Iterator[Trip]:
    """Cells at load that imply more or less air than any engine draws, such as several wrong ones side by side."""
    low, high = _limits(case)
    ve = np.where(case.at_load & ~said, case.table.implied_ve, np.nan)
    lean, rich = ve < low, ve > high
    odd = int((lean | rich).sum())
    # If most of the table is like that, another rule says so about the whole file; but it does not judge two-strokes.
    if not odd or (2 * odd > case.at_load.sum() and not _two_stroke(case)):
        return
    cell = _worst(np.abs(np.log(np.where(ve > 0, ve, 1e-9))), lean, rich)
    number = percent_up(ve[cell]) if ve[cell] > high else percent_down(ve[cell])
    yield Trip(
        Severity.STOP,
        f"At {case.address(cell)} the donor's file holds {_held(case, cell)}: no engine breathes {number} % at load "
        f"(stop outside {100 * low:g} to {100 * high:g} %; {_counted(lean, rich)}).",
        value=100.0 * float(ve[cell]),
        limit=100.0 * (high if ve[cell] > high else low),
        cells=(*pairs(lean), *pairs(rich)),
    )


def _worst(size: FloatArray, lean: BoolArray, rich: BoolArray) -> tuple[int, ...]:
    """The worst of the lean cells; if none is lean, of the rich ones."""
    return worst(size, lean if lean.any() else rich, above=True)


def _held(case: Case, cell: tuple[int, ...]) -> str:
    return f"{case.table.old[cell]:g} {case.job.donor.shown.unit}".rstrip()


def _how_far(ratio: float) -> str:
    if ratio > 2.0:
        return f"{rounded_down(ratio, 1)} times"
    return f"{excess(ratio)} % {'above' if ratio > 1.0 else 'below'}"


def _instead(case: Case, cell: tuple[int, ...], ratio: float) -> str:
    """What the cell should hold; empty for a pulse, in which there is more than the air."""
    if case.job.donor.table.quantity is not TableQuantity.VOLUMETRIC_EFFICIENCY:
        return ""
    return f", about {case.table.old[cell] / ratio:.3g}"


def _counted(lean: BoolArray, rich: BoolArray) -> str:
    too_lean, too_rich = int(lean.sum()), int(rich.sum())
    parts = [f"{cells(too_lean)} too lean" if too_lean else "", f"{cells(too_rich)} too rich" if too_rich else ""]
    return ", ".join(part for part in parts if part)


SLIP_AT_LOAD = Rule(
    name="slip-at-load",
    title="Typing error at load",
    threshold="Each cell at load is compared with what its neighbours suggest: the straight lines through the cells "
    f"next to it along either axis, and its four corners. Stop where it differs by more than {100 * SLIP:g} % from "
    f"at least {MOST:g} of these, or from half of the lines from speed to speed across it, up to {WIDEST} cells "
    "apart. Compared is the implied volumetric efficiency, or the cell itself where the air is not known. Stop too "
    f"where a cell at load implies a volumetric efficiency outside {VE_NO_ENGINE[0]} to {VE_NO_ENGINE[1]} (for a "
    f"two-stroke, above {DELIVERED_BY_NO_ENGINE}).",
    why="One lean cell at full load melts a piston: a decimal point in the wrong place, a lost digit or two swapped "
    "digits is enough, and the rest of the table looks sound. At a real step, such as a cam that switches or the "
    "onset of boost, the cells on the same side agree with each other.",
    source=PRACTICE,
    remedy="1. Compare these cells with the controller's own table, digit by digit. 2. Correct them in the donor's "
    "file. 3. Adapt again.",
    judge=_slip_at_load,
    about_donor=True,
    can_stop=True,
)
