"""The floor of the array model is a floor only if it works out the same numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.adaptation.pipeline import compute
from basemap.model.table_result import LAMBDA_CASES
from benchmarks.bare import prepared
from benchmarks.jobs import job_of_size


@pytest.mark.law
@pytest.mark.parametrize("size", [16, 40])
def test_the_bare_expression_and_the_model_give_the_same(tmp_path: Path, size: int) -> None:
    job = job_of_size(tmp_path, size)
    bare, table, sweep = prepared(job)(), compute(job).table, compute(job).sweep
    # Seen: 1.4e-15 at most; the order of the factors differs.
    np.testing.assert_allclose(100.0 * bare.new, table.new, rtol=5e-15)
    np.testing.assert_allclose(bare.stored, table.stored, rtol=5e-15)
    ratios = [*(table.lambda_ratio[case] for case in LAMBDA_CASES), table.stored_lambda_ratio]
    for found, expected in zip(bare.ratios, ratios, strict=True):
        np.testing.assert_allclose(found, expected, rtol=5e-15)
    # The bare expression looks at every cell, the model at those that can be reached: here they end alike.
    np.testing.assert_allclose(bare.leanest, sweep.leanest, rtol=5e-15)
    np.testing.assert_allclose(bare.richest, sweep.richest, rtol=5e-15)
