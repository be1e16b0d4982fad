"""What holds for every test."""

import gc
import os
import sys
from pathlib import Path

import pytest
from hypothesis import settings

WORKBOOKS = Path(__file__).parent / "workbook"

# A test says what is right, not how fast the machine is: the usual 200 ms an example fail on a busy one.
settings.register_profile("basemap", deadline=None)
settings.load_profile("basemap")

# The tests start the program some hundred times: without bytecode each start compiles every module again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# The workers of pytest-xdist share the cores already: threads of numpy's own wait for each other, busily.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The workbooks first: one worker begins with them and starts LibreOffice, the others need none of their own."""
    items.sort(key=lambda item: WORKBOOKS not in item.path.parents)


@pytest.hookimpl(trylast=True)
def pytest_collection_finish() -> None:
    """Leave out what was collected from every later search for rubbish: six thousand tests and their imports."""
    gc.collect()
    gc.freeze()
