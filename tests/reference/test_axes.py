"""Reading a table between its breakpoints, held against a library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from basemap.model.axes import interpolation
from tests.builders.cases import each


# scipy 1.17.1, linear. Agreement 1e-14 of the value; the sums are in another order. Outside, scipy is asked at the
# edge.
@pytest.mark.check_value
@each("seed", [1, 2, 3])
def test_a_random_table_against_a_library(seed: int) -> None:
    random = np.random.default_rng(seed)
    loads = np.cumsum(random.uniform(2e3, 20e3, 12)), np.sort(random.uniform(0.0, 150e3, 25))
    speeds = np.cumsum(random.uniform(100.0, 900.0, 16)), np.sort(random.uniform(0.0, 12e3, 30))
    values = random.uniform(0.2, 1.2, (12, 16))
    library = RegularGridInterpolator((loads[0], speeds[0]), values)  # type: ignore[no-untyped-call]
    at = [np.clip(new, old[0], old[-1]) for old, new in (loads, speeds)]
    read = interpolation(loads, speeds)
    assert read.of(values) == pytest.approx(library(tuple(np.meshgrid(*at, indexing="ij"))), rel=1e-13)
    outside = (at[0] != loads[1])[:, np.newaxis] | (at[1] != speeds[1])
    assert read.outside.tolist() == outside.tolist()
