"""The belief about a job before any drive, and its drives as observations."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from basemap.belief.inputs import uncertain_inputs
from basemap.belief.sensor_errors import CHARGE, CHARGE_ERROR, MAP_ERROR, PRESSURE, reading_standard
from basemap.belief.spreads import EFFICIENCY
from basemap.belief.uncertain import standard_of
from basemap.belief.unknowns import Drive, Unknowns
from basemap.belief.update import Observations, Prior, Update, update
from basemap.belief.world import Forward
from basemap.errors import InputError
from basemap.model.drive import DriveLog, together
from basemap.model.job import Job

KEY_ON_PA = 300.0
"""Standard uncertainty of a barometer that was read, compared with a sound sensor at key-on, Pa. Our judgement."""
WEATHER_PA = 1000.0
"""Standard uncertainty of the barometer if only the altitude is known: that of the weather, Pa (from memory)."""
FORMULA_STANDARD = 0.003
"""Standard uncertainty of ln κ as the logged pulses show it."""


def prior_of(job: Job, forward: Forward) -> Prior:
    """The belief before any drive: the job's budget, the breathing field and the donor's state."""
    own = uncertain_inputs(job, forward.believed)
    # The errors of the target's sensors are among the nuisances of a drive.
    apart = ("donor.state", f"target.{MAP_ERROR}", f"target.{CHARGE_ERROR}")
    inputs = tuple(entry for entry in own if entry.keys[0] not in apart and entry.draw is None)
    pressure_pa, charge_k = (reading_standard(job, "target", name) for name in (PRESSURE, CHARGE))
    unknowns = Unknowns(forward, inputs, job.target.table.battery_v, pressure_pa, charge_k)
    state = EFFICIENCY[job.donor_state]
    barometer_pa = job.target.hardware.conditions.barometer_pa
    return Prior(unknowns, forward.believed.field, state, barometer_pa, _key_on_standard(job))


def _key_on_standard(job: Job) -> float:
    """How far the key-on reading of a sound sensor may be off the job's barometer, Pa."""
    sections = (
        "target.conditions",
        "conditions",
        *(("donor.conditions",) if "conditions" in job.same_as_donor else ()),
    )
    keys = (f"{name}.barometer" for name in sections)
    # A barometer worked out from an altitude is an input too, but not a declared one.
    stated = next((job.inputs[key] for key in keys if key in job.inputs and key in job.declared), None)
    return math.hypot(KEY_ON_PA, WEATHER_PA if stated is None else standard_of(stated) or 0.0)


def belief_after(prior: Prior, every: Sequence[DriveLog]) -> Update:
    """The belief after drives, worked out from the belief before any.

    Raises
    ------
    InputError
        If a stretch would have had no fuel by this job, although the engine ran.
    """
    observations = observed(every, prior.barometer_pa)
    with np.errstate(invalid="ignore", divide="ignore"):
        expected = prior.unknowns.slopes(observations.drive, np.zeros(prior.unknowns.size)).at
    none = int((~np.isfinite(expected)).sum())
    if none:
        stretches = "stretch" if none == 1 else "stretches"
        raise InputError(
            f"by this job {none} steady {stretches} of the drives would have had no fuel, although the engine ran: the "
            "injectors, their dead time or the fuel pressure are not those of the drives; correct what was changed, "
            "or leave out the section [learnt]",
            place="learnt.logs",
        )
    return update(prior, observations)


def observed(every: Sequence[DriveLog], barometer_pa: float) -> Observations:
    """All logs as observations for the update."""
    made = together(tuple(every))
    by_table = np.concatenate([np.full(log.chunks.size, log.commanded) for log in every])
    off = [barometer_pa - log.key_on_pa for log in every if log.key_on_pa is not None]
    formulas = made.log_formula[np.isfinite(made.log_formula)]
    return Observations(
        Drive(made.points, by_table.astype(bool)),
        made.log_lambda,
        made.variance,
        float(np.mean(off)) if off else None,
        float(np.median(formulas)) if formulas.size else None,
        FORMULA_STANDARD**2,
    )
