"""The program with one error put in on purpose: what the checks are for.

A mutant is a piece of the program's source text and what stands there instead. While it is in force, the functions in
which that text stands run the code of the wrong text, wherever they are called from; nothing is imported anew.
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
    """One error: in `module`, `sound` is replaced by `wrong`; `shown_by` says which random jobs it needs.

    `breaks` is a law or worked chain that sees it without the comparison: `module.function` of these tests.
    """

    name: str
    module: str
    sound: str
    wrong: str
    breaks: str
    shown_by: JobKind = "any"

    def applied(self, source: str) -> str:
        """The source with the error in it; the sound text must stand there exactly once."""
        found = source.count(self.sound)
        if found != 1:
            raise LookupError(f"mutant {self.name}: {self.sound!r} stands {found} times in {self.module}")
        return source.replace(self.sound, self.wrong)


@contextmanager
def mutated(mutant: Mutant) -> Iterator[None]:
    """While it lasts, the program has the error in it."""
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
    """The functions and methods of a module as compiled, by their qualified names."""
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
