"""One word, one meaning: no name of a class stands for two things."""

from __future__ import annotations

import ast
from collections import defaultdict
from pathlib import Path

from tests.architecture.source_files import modules, tree_of


def class_names(path: Path) -> list[str]:
    """Every class that a module defines."""
    return [node.name for node in ast.walk(tree_of(path)) if isinstance(node, ast.ClassDef)]


def test_no_class_name_is_defined_twice() -> None:
    """Nor is one that differs by its underscore alone."""
    places = defaultdict(list)
    for module, path in modules().items():
        for name in class_names(path):
            places[name.strip("_")].append(module)
    assert len(places) > 200
    assert {name: where for name, where in places.items() if len(where) > 1} == {}
