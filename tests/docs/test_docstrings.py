"""Every example in a docstring gives what it shows.

pytest's own collector looks for examples in each of 700 modules, those of the tests too; a few dozen have one.
"""

from __future__ import annotations

import ast
import doctest
from importlib import import_module
from pathlib import Path

import pytest

from tests.docs.markdown import ROOT

MODULES = [path for path in sorted((ROOT / "basemap").rglob("*.py")) if ">>> " in path.read_text(encoding="utf-8")]


def _name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@pytest.mark.parametrize("path", MODULES, ids=_name)
def test_the_examples_of_a_module_are_right(path: Path) -> None:
    source, names = path.read_text(encoding="utf-8"), vars(import_module(_name(path)))
    runner = doctest.DocTestRunner()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef) and (text := ast.get_docstring(node)):
            line = node.body[0].lineno - 1
            runner.run(doctest.DocTestParser().get_doctest(text, dict(names), _name(path), str(path), line))
    # An example that stands where nobody looks, as under a constant, would be missed.
    assert runner.tries == source.count(">>> ")
    assert not runner.failures  # pytest shows above what differs
