"""Every quantity of a job, by its job-file key."""

from __future__ import annotations

from basemap.adaptation.quantities.engine import CONDITIONS, ENGINE
from basemap.adaptation.quantities.fuel import FUEL
from basemap.adaptation.quantities.injectors import INJECTORS
from basemap.adaptation.quantities.settings import SETTINGS
from basemap.adaptation.quantities.tables import SENSORS, TABLES

ALL = (*CONDITIONS, *ENGINE, *INJECTORS, *FUEL, *SETTINGS, *TABLES, *SENSORS)
"""In the order of the job file's sections."""

QUANTITIES = {quantity.key: quantity for quantity in ALL}
