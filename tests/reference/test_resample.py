"""Reading a table between its breakpoints, held against a library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from basemap.model.resample import Grid, resample


# scipy 1.17.1, linear. Agreement 1e-14 of the value; the sums are in another order. Outside, scipy is asked at the
# edge.
@pytest.mark.check_value
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_random_table_against_a_library(seed: int) -> None:
    random = np.random.default_rng(seed)
    old = Grid(np.cumsum(random.uniform(2e3, 20e3, 12)), np.cumsum(random.uniform(100.0, 900.0, 16)))
    new = Grid(np.sort(random.uniform(0.0, 150e3, 25)), np.sort(random.uniform(0.0, 12e3, 30)))
    values = random.uniform(0.2, 1.2, old.shape)
    library = RegularGridInterpolator((old.load, old.rpm), values)  # type: ignore[no-untyped-call]
    load, rpm = np.meshgrid(
        np.clip(new.load, old.load[0], old.load[-1]), np.clip(new.rpm, old.rpm[0], old.rpm[-1]), indexing="ij"
    )
    read = resample(values, old, new)
    assert read.values == pytest.approx(library((load, rpm)), rel=1e-13)
    outside = (load != new.load[:, np.newaxis]) | (rpm != new.rpm)
    assert read.held.tolist() == outside.tolist()
