"""Own breakpoints of random jobs against scipy's bilinear reading, worked out apart from the package.

The parts are the same on both sides and everything is inside the cells, so that a cell less its dead time is in
proportion to the air of a cylinder: over a pressure axis to η·p·V/T, over an air-mass axis to the air itself.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from basemap.adaptation.pipeline import compute
from basemap.jobfile.load import build_job
from basemap.model.installation import FloatArray
from tests.axes.test_air_mass import MG
from tests.builders.pulse_width import DEAD_MS, LOAD, TEXT, target_of

DONOR_CC, CHARGE_K = 2000.0, 313.15


def points(random: np.random.Generator, low: int, high: int, step: int, count: int) -> FloatArray:
    return np.sort(random.choice(np.arange(low, high, step), count, replace=False)).astype(np.float64)


# Agreement 1e-15 in 200 jobs of either kind. A job takes as long whatever its size: 40 of 81 cells, not 100 of 30.
@pytest.mark.check_value
@pytest.mark.parametrize("air", [False, True], ids=["pressure", "air mass"])
def test_random_jobs(air: bool, tmp_path: Path) -> None:
    for seed in range(40):
        random = np.random.default_rng(seed)
        loads, speeds = (int(count) for count in random.integers(3, 9, 2))
        rpm = points(random, 500, 7000, 50, speeds)
        load = points(random, 60, 550, 5, loads) if air else points(random, 20, 100, 1, loads)
        per_load = (0.02 if air else 0.08) * random.uniform(0.8, 1.2, (loads, speeds))
        cells = np.round(DEAD_MS + load[:, np.newaxis] * per_load, 4)
        lines = [["load", *map(str, rpm.tolist())]]
        lines += [[str(one), *map(str, row)] for one, row in zip(load.tolist(), cells.tolist(), strict=True)]
        (tmp_path / "t.csv").write_text("\n".join(map(",".join, lines)) + "\n", encoding="utf-8")

        target_cc, celsius = random.uniform(1500.0, 2600.0), random.uniform(20.0, 60.0)
        own_rpm = points(random, 400, 7500, 25, 9)
        own_load = points(random, 60, 500, 5, 9) if air else points(random, 20, 100, 1, 9)
        text = TEXT.replace(*target_of(f"{target_cc!r} cc")).replace(*(MG if air else (LOAD, LOAD)))
        text += f'[target.conditions]\ncharge_temperature = "{celsius!r} degC"\n[target.tables.fuel]\nlambda = 1.0\n'
        text += f"rpm_points = {own_rpm.tolist()}\nload_points = {own_load.tolist()}\n"
        new = compute(build_job(tomllib.loads(text), tmp_path, "job.toml")).table.new

        similar = own_load * DONOR_CC / target_cc if air else own_load
        at = np.meshgrid(np.clip(similar, load[0], load[-1]), np.clip(own_rpm, rpm[0], rpm[-1]), indexing="ij")
        library = RegularGridInterpolator(  # type: ignore[no-untyped-call]
            (load, rpm), (cells - DEAD_MS) / load[:, np.newaxis]
        )
        each = library(tuple(at)) * own_load[:, np.newaxis]
        if not air:
            each = each * (target_cc / DONOR_CC) * CHARGE_K / (celsius + 273.15)
        np.testing.assert_allclose(new, DEAD_MS + each, rtol=1e-12, err_msg=f"seed {seed}")
