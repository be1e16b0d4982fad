"""The chain of every cell, as `explain` prints it, packed so that a thousand of them stay small.

Most of a chain is the same in every cell. Chains with the same steps are of one kind, and a step holds one text if all
cells of its kind agree, else one for each cell.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, NamedTuple

import numpy as np

from basemap.explain.cell import WorkedCells, worked_cell
from basemap.explain.step import Step
from basemap.model.job import Job
from basemap.model.result import Result
from basemap.report.cell_in_words import DIGITS, WORKED_OUT, origin
from basemap.report.words import harmless, marks_at, number

MOST_CELLS = 1024
"""Larger tables are written without chains, so that the page stays small; `explain` prints them."""


class Line(NamedTuple):
    """One step in words: stage, symbol, number with unit, name, and how it is worked out."""

    stage: str
    symbol: str
    figure: str
    name: str
    how: str


def chain(result: Result, row: int, column: int) -> list[Line]:
    """The chain of one cell, line by line."""
    return _Words(result.job).of(worked_cell(result, row, column))


class _Words:
    """Puts steps into words; everything but the number is the same in many cells, and is put into words once."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._known: dict[tuple[str | tuple[str, ...], ...], Line] = {}

    def of(self, steps: Iterable[Step]) -> list[Line]:
        """A chain, line by line."""
        return [self._line(step) for step in steps]

    def _line(self, step: Step) -> Line:
        key = step.stage, step.symbol, step.name, step.unit, step.how, step.keys
        line = self._known.get(key)
        if line is None:
            came_from = origin(self._job, step)
            name = step.name if came_from == WORKED_OUT else f"{step.name} ({came_from})"
            texts = (step.stage.value, step.symbol, "", name, step.how)
            line = self._known[key] = Line(*(harmless(text) for text in texts))
        return Line(line.stage, line.symbol, _figure(step.value, step.unit), line.name, line.how)

    def column(self, steps: tuple[Step, ...]) -> Iterable[tuple[str, ...]]:
        """One step of many cells as the columns of `Line`, each with one text if all its texts are the same."""
        _, _, names, values, units, hows, keys = zip(*steps, strict=True)
        if any(len(set(part)) > 1 for part in (names, units, hows, keys)):
            return zip(*map(self._line, steps), strict=True)
        line, figures = self._line(steps[0]), tuple(map(_figure, values, units))
        return (line.stage,), (line.symbol,), figures, (line.name,), (line.how,)


def _figure(value: float, unit: str) -> str:
    return f"{number(value, DIGITS)} {unit}".rstrip()


def chains(result: Result) -> dict[str, Any] | None:
    """Every cell's chain and marks; `None` where there are too many cells.

    `kinds` are lists of steps. A step is five indices of `texts`; in place of an index there may be a list of them, one
    for each cell of that kind. `cells` holds for each cell its kind and its number within the kind, `marks` its marks.
    """
    shape = result.table.new.shape
    if int(np.prod(shape)) > MOST_CELLS:
        return None
    kinds: dict[tuple[tuple[str, str], ...], tuple[int, list[tuple[Step, ...]]]] = {}
    cells, words, worked = [], _Words(result.job), WorkedCells(result)
    for row, column in np.ndindex(shape):
        steps = worked.at(row, column)
        kind = tuple([(step.stage, step.symbol) for step in steps])
        number_of_kind, alike = kinds.setdefault(kind, (len(kinds), []))
        cells.append([number_of_kind, len(alike)])
        alike.append(steps)
    texts: dict[str, int] = {}
    packed = [
        [[_numbered(part, texts) for part in words.column(step)] for step in zip(*alike, strict=True)]
        for _, alike in kinds.values()
    ]
    marks = {
        str(at): [mark.in_words for mark in found]
        for at, index in enumerate(np.ndindex(shape))
        if (found := marks_at(result.table.marks, index))
    }
    return {"columns": shape[1], "texts": list(texts), "kinds": packed, "cells": cells, "marks": marks}


def _numbered(column: tuple[str, ...], texts: dict[str, int]) -> int | list[int]:
    """The index of each text, a new one for a new text; a single index if all texts are the same."""
    if len(set(column)) == 1:
        return texts.setdefault(column[0], len(texts))
    return [texts.setdefault(text, len(texts)) for text in column]
