"""One law over a list of cases is one test, which names every case that breaks it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import wraps
from inspect import Parameter, signature
from typing import Any

import pytest

Test = Callable[..., None]


def each(names: str | tuple[str, ...], cases: Iterable[Any]) -> Callable[[Test], Test]:
    """Like `pytest.mark.parametrize`, without the 4 ms that pytest and xdist take for a test of its own.

    For laws whose cases take less than that. All cases are tried; the failures are raised together.
    """
    wanted = tuple(name.strip() for name in names.split(",")) if isinstance(names, str) else names
    every = [case if len(wanted) > 1 else (case,) for case in cases]
    assert every, "a law over no case cannot fail"

    def over(test: Test) -> Test:
        @wraps(test)
        def tried(**others: Any) -> None:
            failures: list[BaseException] = []
            for case in every:
                try:
                    test(**dict(zip(wanted, case, strict=True)), **others)
                except (Exception, pytest.fail.Exception) as failure:
                    failure.add_note(", ".join(f"{name} = {value}" for name, value in zip(wanted, case, strict=True)))
                    failures.append(failure)
            if len(failures) == 1:
                raise failures[0]
            if failures:
                raise BaseExceptionGroup(f"{len(failures)} of {len(every)} cases", failures)

        left: list[Parameter] = [one for name, one in signature(test).parameters.items() if name not in wanted]
        assert len(left) + len(wanted) == len(signature(test).parameters), f"{test.__name__} does not take {names}"
        tried.__signature__ = signature(test).replace(parameters=left)  # type: ignore[attr-defined]
        return tried

    return over
