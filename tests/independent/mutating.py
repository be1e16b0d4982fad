"""Mutants: the program with one error put in on purpose, which the tests must find.

A mutant is a piece of the program's source text and a wrong text for it. While it is in force, the functions that
contain the text run the wrong code, wherever they are called from; no module is imported again.
"""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from types import CodeType, FunctionType, ModuleType
from typing import Literal

JobKind = Literal["any", "bent line", "breathing"]


@dataclass(frozen=True)
class Mutant:
    """One error: in `module`, the text `sound` is replaced by `wrong`.

    `shown_by` says which random jobs show it. `breaks` names a test of a law or of a worked chain that finds it without
    the random jobs, as `module.function`.
    """

    name: str
    module: str
    sound: str
    wrong: str
    breaks: str
    shown_by: JobKind = "any"

    def applied(self, source: str) -> str:
        """The source with the error in it; the sound text must occur exactly once."""
        found = source.count(self.sound)
        if found != 1:
            raise LookupError(f"mutant {self.name}: {self.sound!r} stands {found} times in {self.module}")
        return source.replace(self.sound, self.wrong)


@contextmanager
def mutated(mutant: Mutant) -> Iterator[None]:
    """Put the error into the program for the length of a ``with`` block."""
    module = import_module(mutant.module)
    path = str(module.__file__)
    source = Path(path).read_text(encoding="utf-8")
    sound, wrong = (functions(compile(text, path, "exec")) for text in (source, mutant.applied(source)))
    changed = {function_at(module, name): code for name, code in wrong.items() if code != sound[name]}
    if not changed:
        raise LookupError(f"mutant {mutant.name}: {mutant.sound!r} stands in no function of {mutant.module}")
    kept = {function: function.__code__ for function in changed}
    try:
        for function, code in changed.items():
            function.__code__ = code
        yield
    finally:
        for function, code in kept.items():
            function.__code__ = code


def functions(code: CodeType) -> dict[str, CodeType]:
    """The compiled functions and methods of a module, by qualified name."""
    found: dict[str, CodeType] = {}
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            is_function = bool(inner.co_flags & inspect.CO_NEWLOCALS)
            found |= {inner.co_qualname: inner} if is_function else functions(inner)
    return found


def function_at(module: ModuleType, qualified: str) -> FunctionType:
    """A function of a module, or a method or property of one of its classes."""
    found: object = module
    for name in qualified.split("."):
        found = vars(found)[name]
    found = getattr(found, "fget", getattr(found, "func", found))
    plain = inspect.unwrap(found)  # type: ignore[arg-type]
    assert isinstance(plain, FunctionType), qualified
    return plain
