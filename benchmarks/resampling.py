"""A table read on other breakpoints, against scipy's interpolator."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from basemap.model.axes import interpolation
from benchmarks.measure import Row, interleaved, processor_time, ratio_row


def rows(_folder: Path) -> Iterator[Row]:
    """Processor time of a resampling over that of scipy with the same points."""
    for size, repetitions in ((16, 200), (1024, 5)):
        loads = np.linspace(2e4, 1e5, size), np.linspace(2.1e4, 9.9e4, size)
        speeds = np.linspace(600.0, 7200.0, size), np.linspace(650.0, 7100.0, size)
        values = np.sin(loads[0][:, np.newaxis] / 2e4) + speeds[0] / 1e3
        mesh = np.stack(np.meshgrid(loads[1], speeds[1], indexing="ij"), axis=-1)
        old = loads[0], speeds[0]
        found = interleaved(
            {
                "ours": processor_time(lambda: interpolation(loads, speeds).of(values)),  # noqa: B023 - called before the next
                "scipy": processor_time(lambda: RegularGridInterpolator(old, values)(mesh)),  # type: ignore[no-untyped-call]  # noqa: B023
            },
            repetitions,
        )
        yield ratio_row(f"resampling {size} by {size} / scipy", found["ours"], found["scipy"], 1.5)
