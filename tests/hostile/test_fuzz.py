"""Any bytes are a value or an `InputError`: valid files, changed at random, a bounded number of them."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.hostile.fuzz import readers, seeds
from tests.hostile.mutations import mutated


@pytest.mark.parametrize(("name", "examples"), [("grid", 150), ("line", 100), ("job", 150), ("result", 25)])
def test_a_reader_keeps_its_promise(tmp_path: Path, name: str, examples: int) -> None:
    read, valid = readers(tmp_path)[name], seeds(name)

    @settings(max_examples=examples, database=None)
    @given(st.sampled_from(valid), st.integers(0, 2**32))
    def holds(data: bytes, seed: int) -> None:
        message = read(mutated(data, random.Random(seed)))
        assert message is None or len(message) > 10

    holds()


@pytest.mark.parametrize("name", ["grid", "line", "job"])
def test_bytes_of_any_kind(tmp_path: Path, name: str) -> None:
    read = readers(tmp_path)[name]

    @settings(max_examples=100, database=None)
    @given(st.binary(max_size=300))
    def holds(data: bytes) -> None:
        message = read(data)
        assert message is None or len(message) > 10

    holds()
