"""All unknowns by which a drive may differ from its prediction: those of the job, and errors of sensors and injectors.

Each unknown is one number, with standard deviation 1 before anything was observed. Its effect on ln λ at a point is its
slope there; the breathing is a field of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from basemap.belief import moves
from basemap.belief.at_points import DecodedDonor, log_lambda
from basemap.belief.budget import STEP, moved
from basemap.belief.uncertain import Uncertain
from basemap.belief.world import Forward, World, nominal
from basemap.model.drive import DrivePoints, stacked
from basemap.model.installation import BoolArray, FloatArray

DEAD_TIME_SLOPE = 0.03
HEAT_SOAK = 0.006
PROBE = 0.01
"""Standard uncertainties of what no job states: slope of the dead time over voltage (relative), heat that the charge
takes up at the flow of idle (relative air, in inverse proportion to flow), scale of the probe. Our judgement, tried on
simulated drives."""

IDLE_FLOW = 900.0 * 35e3
"""Speed times pressure at which the heat soak is stated, rev/min·Pa."""

NUISANCES = ("pressure reading", "charge-temperature reading", "dead time over voltage", "heat soak", "probe")

HALF = 0.5
"""Standard deviations to either side of an unknown at which its slope is taken."""


@dataclass(frozen=True)
class Slopes:
    """ln λ and its slopes at n points: `at` of shape (n,), `by` of shape (n, unknowns)."""

    at: FloatArray
    by: FloatArray


@dataclass(frozen=True)
class Drive:
    """Points with their pulses.

    Parameters
    ----------
    points
        n of them.
    commanded
        Where the pulse was not logged but worked out from the table, shape (n,): the true pulse then depends on the
        ECU's own formula.
    read_by_probe
        Whether ln λ is the one that the probe reads; else it is the true one.
    """

    points: DrivePoints
    commanded: BoolArray
    read_by_probe: bool = True


@dataclass(frozen=True)
class Unknowns:
    """The unknowns of a job, in order: its uncertain inputs, then `NUISANCES`.

    Parameters
    ----------
    pressure_pa, charge_k
        Standard uncertainties of the target's readings of manifold pressure and charge temperature, as in the job's
        budget. They are not among `inputs`, because a drive reads the same sensors.
    known, worlds
        Slopes and worlds worked out so far, with their drives, because each is asked for many times.
    """

    forward: Forward
    inputs: tuple[Uncertain, ...]
    reference_v: float
    pressure_pa: float
    charge_k: float
    known: dict[tuple[int, bytes], tuple[Drive, Slopes]] = field(default_factory=dict, repr=False, compare=False)
    worlds: dict[bytes, World] = field(default_factory=dict, repr=False, compare=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Their names in words."""
        return (*(entry.name for entry in self.inputs), *NUISANCES)

    @property
    def size(self) -> int:
        """How many there are."""
        return len(self.inputs) + len(NUISANCES)

    def world(self, amounts: FloatArray) -> World:
        """The world in which every unknown has the value in `amounts`, in standard deviations, shape (unknowns,)."""
        asked = amounts.tobytes()
        if asked not in self.worlds:
            steps = np.array([value * entry.standard for value, entry in zip(amounts, self.inputs, strict=False)])
            world = moved(nominal(self.forward.job), self.inputs, steps.reshape(-1, 1, 1, 1))
            self.worlds[asked] = self.tilted(world, float(amounts[self.place("dead time over voltage")]))
        return self.worlds[asked]

    def slopes(self, drive: Drive, amounts: FloatArray) -> Slopes:
        """Ln λ and its slopes at points, about a value of every unknown; what was asked before is remembered."""
        asked = id(drive), amounts.tobytes()
        if asked not in self.known:
            self.known[asked] = drive, self._slopes(drive, amounts)
        return self.known[asked][1]

    def _slopes(self, drive: Drive, amounts: FloatArray) -> Slopes:
        world, count = self.world(amounts), len(self.inputs)
        steps = np.zeros((count, 2 * count + 1, 1, 1))
        each = np.arange(count)
        standards = np.array([entry.standard for entry in self.inputs])
        steps[each, 2 * each, 0, 0], steps[each, 2 * each + 1, 0, 0] = STEP * standards, -STEP * standards
        values = self.log_lambda(drive, moved(world, self.inputs, steps), amounts)
        by_input = (values[0:-1:2] - values[1:-1:2]) / (2.0 * STEP)
        return Slopes(values[-1], np.column_stack([by_input.T, *self._by_nuisance(drive, world, amounts)]))

    def log_lambda(
        self, drive: Drive, world: World, amounts: FloatArray, decoded: DecodedDonor | None = None
    ) -> FloatArray:
        """Ln λ at points in a world, with nuisances of some size, shape (samples, n)."""
        truly = self._truly(drive, world, amounts)
        return self._as_read(drive, log_lambda(self.forward, truly, world, decoded), amounts)

    def _truly(self, drive: Drive, world: World, amounts: FloatArray) -> DrivePoints:
        """The true points, if the sensors are off by these amounts."""
        points = drive.points
        told = self.forward.settings.new.dead_time_s(points.battery_v)
        formula = np.asarray(world.formula).reshape(-1, 1)
        pulse = np.where(drive.commanded, told + (points.pulse_s - told) * formula, points.pulse_s)
        return replace(
            points,
            pressure_pa=points.pressure_pa + amounts[self.place("pressure reading")] * self.pressure_pa,
            charge_k=points.charge_k + amounts[self.place("charge-temperature reading")] * self.charge_k,
            pulse_s=pulse,
        )

    def _as_read(self, drive: Drive, truly: FloatArray, amounts: FloatArray) -> FloatArray:
        """What only adds to the true ln λ: the heat soak, and what the probe reads wrong."""
        found = truly - amounts[self.place("heat soak")] * _soak(drive.points)
        return np.asarray(found + amounts[self.place("probe")] * PROBE if drive.read_by_probe else found)

    def place(self, nuisance: str) -> int:
        """Where one of `NUISANCES` stands among the unknowns."""
        return len(self.inputs) + NUISANCES.index(nuisance)

    def _by_nuisance(self, drive: Drive, world: World, amounts: FloatArray) -> list[FloatArray]:
        """Slopes by half a standard deviation to either side: of five cases at most two need a world of their own."""
        decoded = DecodedDonor.of(self.forward, world)

        def there(name: str, size: float) -> FloatArray:
            found = amounts.copy()
            found[self.place(name)] += size
            return found

        both = {name: [there(name, HALF), there(name, -HALF)] for name in NUISANCES}
        readings = [amounts, *both["pressure reading"], *both["charge-temperature reading"]]
        points = stacked([self._truly(drive, world, one) for one in readings])
        here, *read = log_lambda(self.forward, points, world, decoded).reshape(len(readings), -1)
        tilted = [self.tilted(world, size) for size in (HALF, -HALF)]
        tilts = [log_lambda(self.forward, self._truly(drive, one, amounts), one, decoded)[0] for one in tilted]
        found = []
        for name, truly in zip(NUISANCES, (read[:2], read[2:], tilts, [here, here], [here, here]), strict=True):
            up, down = (self._as_read(drive, *one) for one in zip(truly, both[name], strict=True))
            found.append(np.asarray((up - down) / (2.0 * HALF)))
        return found

    def tilted(self, world: World, amount: float) -> World:
        """A world in which the target's dead time is steeper over voltage, but the same at the table's voltage."""
        if amount == 0.0:
            return world
        factor = 1.0 + amount * DEAD_TIME_SLOPE
        injectors = world.target.injectors
        dead = injectors.dead_time
        here = np.array([np.interp(self.reference_v, dead.battery_v, row) for row in dead.time_s])[:, np.newaxis]
        steeper = replace(dead, time_s=here + (dead.time_s - here) * factor)
        return moves.on(
            world, "target", lambda fitted: replace(fitted, injectors=replace(injectors, dead_time=steeper))
        )


def _soak(points: DrivePoints) -> FloatArray:
    return np.asarray(HEAT_SOAK * np.minimum(IDLE_FLOW / (points.rpm * points.pressure_pa), 1.5))
