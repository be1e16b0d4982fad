"""What pydantic finds wrong with a job file, as one sentence of ours about the first problem in file order."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from basemap.errors import InputError, NotSupportedYet
from basemap.job.fields import NOT_SUPPORTED, PROBLEM
from basemap.job.schema import COMPANIONS, JobFile, keys_of

if TYPE_CHECKING:
    from pydantic import BaseModel, ValidationError
    from pydantic_core import ErrorDetails


def first_problem(error: ValidationError, data: Mapping[str, Any], file: str) -> InputError:
    """The first problem in the order of the file.

    Parameters
    ----------
    error
        What pydantic raised.
    data
        The job as read; its keys are in the order of the file.
    file
        The job file as the user named it.
    """
    details = min(error.errors(include_url=False), key=lambda found: _order(_path(found["loc"], data), data))
    return _translated(details, _path(details["loc"], data), file)


def _path(loc: Sequence[int | str], data: Any) -> tuple[str, ...]:
    """The keys of a place in the job, without the names that pydantic gives to the branches of a union."""
    path: list[str] = []
    for part in loc:
        if isinstance(data, Mapping) and part in data:
            path.append(str(part))
            data = data[part]
    return tuple(path)


def _order(path: Sequence[str], data: Any) -> tuple[int, ...]:
    order: list[int] = []
    for part in path:
        order.append(list(data).index(part))
        data = data[part]
    return tuple(order)


def _translated(details: ErrorDetails, path: tuple[str, ...], file: str) -> InputError:
    kind, place = details["type"], ".".join(path)
    if kind in (PROBLEM, NOT_SUPPORTED):
        error = NotSupportedYet if kind == NOT_SUPPORTED else InputError
        return error(str(details["ctx"]["problem"]), file=file, place=place)
    if kind == "extra_forbidden":
        return _unknown_key(path, file)
    if kind in ("model_type", "dict_type", "model_attributes_type"):
        value = details["input"]
        shown = f'"{value}"' if isinstance(value, str) else str(value)
        return InputError(f"must be a section with keys of its own, not {shown}", file=file, place=place)
    raise AssertionError(f"no sentence for pydantic's {kind}: {details['msg']}")


def _unknown_key(path: tuple[str, ...], file: str) -> InputError:
    *section, key = path
    known = _known_keys(section)
    # A cross-check first: the right key in the wrong section is the commonest slip.
    elsewhere = [other for other, _ in _all_keys() if other[-1] == key and other[0] in (section[:1] or [""])]
    elsewhere = elsewhere or [other for other, _ in _all_keys() if other[-1] == key]
    if elsewhere:
        problem = f'unknown key here: "{key}" belongs in {_bracketed(elsewhere[0][:-1])}'
        return InputError(problem, file=file, place=".".join(path))
    near = difflib.get_close_matches(key, known, n=1, cutoff=0.5)
    if near:
        return InputError(f'unknown key: did you mean "{near[0]}"?', file=file, place=".".join(path))
    far = difflib.get_close_matches(key, {other[-1] for other, _ in _all_keys()}, n=1, cutoff=0.6)
    if far:
        place = next(other for other, _ in _all_keys() if other[-1] == far[0])
        return InputError(
            f'unknown key: the nearest is "{far[0]}" in {_bracketed(place[:-1])}', file=file, place=".".join(path)
        )
    return InputError(f"unknown key: this section takes {', '.join(known)}", file=file, place=".".join(path))


def _bracketed(section: tuple[str, ...]) -> str:
    return f"[{'.'.join(section)}]" if section else "the top of the file"


def _known_keys(section: Sequence[str]) -> list[str]:
    model: type[BaseModel] | None = JobFile
    for part in section:
        model = _section(model, part) if model is not None else None
    return list(keys_of(model)) if model is not None else []


def _section(model: type[BaseModel], part: str) -> type[BaseModel] | None:
    """The section under a key; a further table stands under a name of the user's own."""
    keys = keys_of(model)
    return keys[part] if part in keys or model not in COMPANIONS else COMPANIONS[model]


def _all_keys(
    model: type[BaseModel] = JobFile, section: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], type[BaseModel] | None]]:
    """Every key of the job file with its sections."""
    for key, leads_to in keys_of(model).items():
        yield (*section, key), leads_to
        if leads_to is not None:
            yield from _all_keys(leads_to, (*section, key))
    if model in COMPANIONS:
        yield from _all_keys(COMPANIONS[model], (*section, "NAME"))
