"""A result on a terminal: the brief, and on request all details and the tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from rich.console import Group
from rich.text import Text

from basemap.model.result import Result
from basemap.report.terminal.brief import ADAPTED, CHECKED, QUIET, briefly, following, loaded, written
from basemap.report.terminal.details import details
from basemap.report.terminal.tables import tables

if TYPE_CHECKING:
    from rich.console import Console, RenderableType


class Asked(NamedTuple):
    """The options of a command that print more than the brief."""

    all: bool = False
    tables: bool = False


BRIEFLY = Asked()


def checked(result: Result, next_step: str, console: Console, asked: Asked = BRIEFLY) -> Group:
    """What `check` prints; `next_step` is the command to run next, empty where there is none."""
    after = [following(next_step)] if next_step else []
    return Group(*briefly(result, CHECKED), *_more(result, console, asked), *after)


def adapted(result: Result, files: Sequence[Path], next_step: str, console: Console, asked: Asked = BRIEFLY) -> Group:
    """What `adapt` prints."""
    after: list[RenderableType] = [written(files, loaded(result))] if files else []
    after += [following(next_step)] if next_step else []
    return Group(*briefly(result, ADAPTED), *_more(result, console, asked), *after)


def quietly(result: Result, files: Iterable[Path] = ()) -> Group:
    """What ``--quiet`` prints: the verdict, the stops against the map, the ignition, the files."""
    return Group(*briefly(result, QUIET), *(Text(str(path)) for path in files))


def _more(result: Result, console: Console, asked: Asked) -> list[RenderableType]:
    parts = tables(result, console) if asked.tables else []
    parts += details(result) if asked.all else []
    return [*parts, Text("")] if parts else []
