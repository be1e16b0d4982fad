"""What holds for every test."""

import gc
import os
import sys
from contextlib import suppress
from importlib import import_module
from pathlib import Path

import pytest
from hypothesis import settings

TESTS = Path(__file__).parent
WORKBOOKS = TESTS / "workbook"

# A test says what is right, not how fast the machine is: the usual 200 ms an example fail on a busy one.
settings.register_profile("basemap", deadline=None)
settings.load_profile("basemap")

# The tests start the program some hundred times: without bytecode each start compiles every module again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The workers of pytest-xdist share the cores already: threads of numpy's own wait for each other, busily.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def pytest_collection(session: pytest.Session) -> None:
    """Of a whole run on a fresh clone, let each worker compile a share of the tests, and find the others compiled.

    In the same order they would all compile the same file at the same time. What cannot be imported is reported later.
    """
    worker, workers = (os.environ.get(f"PYTEST_XDIST_WORKER{what}", "") for what in ("", "_COUNT"))
    if not worker or session.config.args_source is not pytest.Config.ArgsSource.TESTPATHS:
        return
    for path in sorted(TESTS.rglob("test_*.py"))[int(worker.removeprefix("gw")) :: int(workers)]:
        with suppress(Exception, pytest.skip.Exception):
            import_module(".".join(path.relative_to(TESTS.parent).with_suffix("").parts))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The workbooks first: one worker begins with them and starts LibreOffice, the others need none of their own."""
    items.sort(key=lambda item: WORKBOOKS not in item.path.parents)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Leave out what was collected from every later search for rubbish: thousands of tests and their imports."""
    gc.collect()
    gc.freeze()
