"""Grids to read in the tests, and a writer of text files that shares nothing with the one under test."""

from __future__ import annotations

import io
from dataclasses import dataclass

from hypothesis import strategies as st

from basemap.tables.grid import GridFile
from basemap.tables.read import read_grid

SPEEDS = [500.0, 1000.0, 1500.0]
LOADS = [30.0, 60.0]
VALUES = [[45.5, 46.5, 47.5], [50.5, 51.5, 52.5]]
PLAIN = ",500,1000,1500\n30,45.5,46.5,47.5\n60,50.5,51.5,52.5\n"


def read(data: bytes | str, **hints: str) -> GridFile:
    """Read a grid from standard input."""
    content = data.encode() if isinstance(data, str) else data
    return read_grid("-", stdin=io.BytesIO(content), **hints)  # type: ignore[arg-type]


def content_of(grid: GridFile) -> tuple[list[float], list[float], list[list[float]]]:
    """Engine speeds, loads and values as lists."""
    return grid.rpm.tolist(), grid.load.tolist(), grid.values.tolist()


@dataclass(frozen=True)
class Donor:
    """A text file and what it says."""

    data: bytes
    rpm: list[float]
    load: list[float]
    values: list[list[float]]
    decimal: str
    label: str


@st.composite
def donors(draw: st.DrawFn) -> Donor:
    """Text files in every shape that is read, written here by plain joining."""
    columns, rows = draw(st.integers(2, 8)), draw(st.integers(2, 8))
    rpm = sorted(draw(st.sets(st.integers(1, 98), min_size=columns, max_size=columns)))
    speeds = [float(speed * 10) for speed in rpm[:-1]] + [float(rpm[-1] * 100 + 1000)]
    loads = [float(load) for load in sorted(draw(st.sets(st.integers(0, 250), min_size=rows, max_size=rows)))]
    decimals = draw(st.integers(0, 4))
    number = st.integers(-(10 ** (decimals + 1)), 10 ** (decimals + 3))
    values = [[draw(number) / 10**decimals for _ in speeds] for _ in loads]
    separator, mark = draw(
        st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), (" ", ","), (" ", ".")])
    )
    rows_are_speeds, falls_down, falls_across = draw(st.booleans()), draw(st.booleans()), draw(st.booleans())
    down, across, body = loads, speeds, values
    if rows_are_speeds:
        down, across, body = speeds, loads, [list(column) for column in zip(*values, strict=True)]
    if falls_down:
        down, body = down[::-1], body[::-1]
    if falls_across:
        across, body = across[::-1], [row[::-1] for row in body]
    quote = '"' if separator != " " and draw(st.booleans()) else ""
    texts = [[f"{quote}{value:.{decimals}f}{quote}".replace(".", mark) for value in row] for row in body]
    corner = draw(st.sampled_from(["table", "kPa/rpm"] if separator == " " else ["", "load \\ rpm", "kPa"]))
    lines = [[corner, *(f"{value:.0f}" for value in across)]]
    lines += [[f"{value:.0f}", *row] for value, row in zip(down, texts, strict=True)]
    return Donor(
        data=_written(draw, [separator.join(line) for line in _padded(draw, lines, separator)]),
        rpm=speeds,
        load=loads,
        values=values,
        decimal=mark,
        label=f"{separator!r} {mark!r}",
    )


def _padded(draw: st.DrawFn, lines: list[list[str]], separator: str) -> list[list[str]]:
    """Columns aligned to the right or left, or not at all."""
    align = draw(st.sampled_from(["none", "right", "left"])) if separator in " ;" else "none"
    if align == "none":
        return lines
    widths = [max(map(len, column)) for column in zip(*lines, strict=True)]
    return [
        [text.rjust(width) if align == "right" else text.ljust(width) for text, width in zip(line, widths, strict=True)]
        for line in lines
    ]


def _written(draw: st.DrawFn, lines: list[str]) -> bytes:
    above = draw(st.sampled_from([[], ["Fuel table (%)"], ["Fuel table", ""], ["# made by hand", "Fuel"]]))
    below = draw(st.sampled_from([[], ["", "end of the table"], ["# end"]]))
    newline = draw(st.sampled_from(["\n", "\r\n", "\r"]))
    text = newline.join([*above, *lines, *below]) + draw(st.sampled_from(["", newline]))
    bom, codec = draw(
        st.sampled_from(
            [(b"", "utf-8"), (b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")]
        )
    )
    return bom + text.encode(codec)
