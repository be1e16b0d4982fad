"""What a drive is compared by: the slopes of every unknown are those of the model itself."""

from __future__ import annotations

import numpy as np
import pytest

from basemap.belief.of_drives import observed, prior_of
from basemap.belief.unknowns import HALF, NUISANCES
from basemap.belief.world import Forward
from basemap.model.installation import FloatArray
from tests.report.page.learnt_van import first_drive, van


# Agreement: 1 %, for a percent of what is a percent more already is not a percent of the whole; 1e-6 of ln λ is left to
# what an unknown does not move. A reading is moved as far as the program moves it: a table bends at its points.
@pytest.mark.law
def test_slopes_are_those_of_the_model() -> None:
    """Every unknown moved a little to either side, by itself, in a world that is made for it."""
    job = van().job
    unknowns = prior_of(job, Forward.of(job)).unknowns
    drive = observed(first_drive().logs, job.target.hardware.conditions.barometer_pa).drive
    about = np.random.default_rng(1).uniform(-0.5, 0.5, unknowns.size)
    slopes = unknowns.slopes(drive, about)

    def moved(place: int, by: float) -> FloatArray:
        there = about.copy()
        there[place] += by
        return np.asarray(unknowns.log_lambda(drive, unknowns.world(there), there)[0])

    np.testing.assert_allclose(slopes.at, moved(0, 0.0), rtol=1e-12, atol=1e-14)
    for place, name in enumerate(unknowns.names):
        by = HALF if name in NUISANCES else 0.1
        expected = (moved(place, by) - moved(place, -by)) / (2.0 * by)
        np.testing.assert_allclose(slopes.by[:, place], expected, rtol=0.01, atol=1e-6, err_msg=name)
        assert np.abs(slopes.by[:, place]).max() > 1e-5, name
