"""The modules of the package as the parser sees them: what each imports, and whether it does so on being loaded."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "basemap"


@dataclass(frozen=True)
class Import:
    """One imported module, named in full.

    `on_load` is true where the import runs as soon as the importing module is loaded: not inside a function, and
    not under ``if TYPE_CHECKING``.
    """

    importer: str
    imported: str
    line: int
    on_load: bool

    def __str__(self) -> str:
        return f"{self.importer}, line {self.line}: imports {self.imported}"


def module_name(path: Path) -> str:
    """``basemap/model/job.py`` → ``basemap.model.job``; a package is named without its ``__init__``."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


@cache
def modules() -> dict[str, Path]:
    """Every module of the package."""
    return {module_name(path): path for path in sorted(PACKAGE.rglob("*.py"))}


@cache
def tree_of(path: Path) -> ast.Module:
    """A module as the parser reads it."""
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def imports_of(path: Path, source: str | None = None) -> list[Import]:
    """Every import of a module, wherever in it it stands."""
    return list(_walk(tree_of(path) if source is None else ast.parse(source), path, on_load=True))


def _walk(node: ast.AST, path: Path, *, on_load: bool) -> Iterator[Import]:
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Import):
            for alias in child.names:
                yield Import(module_name(path), alias.name, child.lineno, on_load)
        elif isinstance(child, ast.ImportFrom):
            yield from _from(child, path, on_load=on_load)
        elif isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            yield from _walk(ast.Module(child.body, []), path, on_load=False)
            yield from _walk(ast.Module(child.orelse, []), path, on_load=on_load)
        elif not isinstance(child, ast.expr):  # an import is a statement
            in_function = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef)
            yield from _walk(child, path, on_load=on_load and not in_function)


def _from(node: ast.ImportFrom, path: Path, *, on_load: bool) -> Iterator[Import]:
    base = node.module or ""
    if node.level:
        here = module_name(path).split(".")
        if path.name != "__init__.py":
            here = here[:-1]
        base = ".".join([*here[: len(here) - node.level + 1], *([base] if base else [])])
    known = modules()
    for alias in node.names:
        inner = f"{base}.{alias.name}"
        yield Import(module_name(path), inner if inner in known else base, node.lineno, on_load)
