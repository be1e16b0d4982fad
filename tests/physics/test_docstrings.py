"""Every public function of the physics documents exactly its parameters, their units, and a source."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

import basemap.physics

UNIT = re.compile(r"\[[^\]]+\]\.?$")

SAMPLE = """What it does.

    Parameters
    ----------
    first, second
        Two of
        them [Pa].
    third
        No unit here.

    Notes
    -----
    A book.
    """


def modules() -> list[ModuleType]:
    names = sorted(module.name for module in pkgutil.iter_modules(basemap.physics.__path__))
    return [importlib.import_module(f"basemap.physics.{name}") for name in names]


def functions() -> list[Callable[..., Any]]:
    """Public functions, each in the module that defines it."""
    return [
        member
        for module in modules()
        for name, member in inspect.getmembers(module, inspect.isfunction)
        if not name.startswith("_") and member.__module__ == module.__name__
    ]


def sections(docstring: str) -> dict[str, str]:
    """Text under each underlined heading."""
    parts = re.split(r"^(\w[\w ]*)\n-{3,}\n", inspect.cleandoc(docstring), flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def documented(docstring: str) -> dict[str, str]:
    """Each parameter of the section of that name, with its description."""
    entries = re.split(r"^(\S.*)\n", sections(docstring).get("Parameters", ""), flags=re.MULTILINE)
    described: dict[str, str] = {}
    for names, text in zip(entries[1::2], entries[2::2], strict=True):
        described |= {name.strip(): " ".join(text.split()) for name in names.split(",")}
    return described


def is_number(annotation: object) -> bool:
    return "float" in str(annotation).lower() or str(annotation) == "Numbers"


FUNCTIONS = {f"{f.__module__.rpartition('.')[2]}.{f.__name__}": f for f in functions()}


@pytest.mark.law
def test_the_reader_of_docstrings_reads_them() -> None:
    assert documented(SAMPLE) == {"first": "Two of them [Pa].", "second": "Two of them [Pa].", "third": "No unit here."}
    assert sections(SAMPLE)["Notes"].strip() == "A book."
    assert {"air.standard_pressure", "fuel.blend", "injector.dead_time", "fuel_density.expand_typed"} <= set(FUNCTIONS)


@pytest.mark.law
def test_parameters_are_those_of_the_signature() -> None:
    found = {name: list(documented(function.__doc__ or "")) for name, function in FUNCTIONS.items()}
    assert found == {name: list(inspect.signature(function).parameters) for name, function in FUNCTIONS.items()}


def without_unit(function: Callable[..., Any]) -> list[str]:
    """The numbers of a function whose unit is not said."""
    signature, docstring = inspect.signature(function), function.__doc__ or ""
    said = {**documented(docstring), "return": " ".join(sections(docstring).get("Returns", "").split())}
    annotations = {name: parameter.annotation for name, parameter in signature.parameters.items()}
    annotations["return"] = signature.return_annotation
    return [name for name, of in annotations.items() if is_number(of) and not UNIT.search(said.get(name, ""))]


@pytest.mark.law
def test_every_number_has_its_unit() -> None:
    assert {name: wrong for name, function in FUNCTIONS.items() if (wrong := without_unit(function))} == {}


@pytest.mark.law
def test_every_function_says_where_it_comes_from() -> None:
    notes = {name: sections(function.__doc__ or "").get("Notes", "") for name, function in FUNCTIONS.items()}
    assert [name for name, text in notes.items() if not text.strip()] == []
