"""A charge temperature that no engine has, or that only one of two has, is questioned."""

from __future__ import annotations

import pytest

from basemap.model.finding import Severity
from tests.builders.cases import each
from tests.builders.computed import found, make_computed, make_job, severities, with_donor, with_target

RULE = "charge-temperature"


@pytest.mark.law
@each(
    # −25 to 80 °C and 30 K apart: common practice, no source. The other side is at 40 °C.
    ("celsius", "count"),
    [(-26.0, 1), (9.9, 1), (10.1, 0), (40.0, 0), (69.9, 0), (70.1, 1), (104.0, 1)],
)
def test_a_charge_temperature(celsius: float, count: int) -> None:
    for change in (with_donor, with_target):
        job = change(make_job(), "conditions", charge_temperature_k=celsius + 273.15)
        assert severities(make_computed(job), RULE) == [Severity.CAUTION] * count


@pytest.mark.check_value
def test_fahrenheit_for_celsius() -> None:
    # (104 − 32)/1.8 = 40.
    job = with_target(make_job(), "conditions", charge_temperature_k=104.0 + 273.15)
    (finding,) = found(make_computed(job), RULE)
    assert finding.message == (
        "The target's charge temperature is stated as 104 °C (caution outside -25 to 80 °C): every 3 K change the "
        "fuel by 1 %. Is this in degF? 104 degF is 40 degC."
    )
