"""A spread that a job states is carried into the band, or refused: never read and forgotten."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from basemap.errors import InputError
from basemap.model.installation import FloatArray
from tests.belief.test_budget import budget_of
from tests.builders.with_settings import built

OWN_FUEL = (('[target]\nsame_as_donor = ["fuel"]\n', ""),)
RAIL = 'rail_pressure = "3 bar"\nregulator = "manifold"\n'
RECTANGLE = math.sqrt(3.0)


def contributions(folder: Path, *append: str, replaced: tuple[tuple[str, str], ...] = ()) -> dict[str, FloatArray]:
    """Each input's contribution to the band, by name."""
    found = budget_of(built(folder, *append, replaced=replaced))
    return {entry.name: row for entry, row in zip(found.inputs, found.contributions, strict=True)}


def of_parts(folder: Path, parts: str) -> dict[str, FloatArray]:
    return contributions(folder, f"\n[target.fuel]\n{RAIL}parts = {{ {parts} }}\n", replaced=OWN_FUEL)


@pytest.mark.check_value
def test_methanol_content(tmp_path: Path) -> None:
    """λ goes as 1/(L·√ρ). By volume 85 % methanol (L 6.46, 796 kg/m³ at 15 °C) in petrol (14.6, 745 kg/m³) gives
    L = (0.85·796·6.46 + 0.15·745·14.6)/(0.85·796 + 0.15·745) = 7.61 and, one per cent more, 7.53 with 788.9 instead of
    788.4 kg/m³: 1.0 % in λ for 1 vol %. Densities and ratios from memory; the agreement is 2 %.
    """
    rows = of_parts(tmp_path, 'petrol = 15, methanol = "85 ± 10"')
    assert np.abs(rows["methanol content of the target"]) == pytest.approx(0.0998 / RECTANGLE, rel=0.02)


@pytest.mark.law
def test_of_two_components_either_may_state_the_spread(tmp_path: Path) -> None:
    one = of_parts(tmp_path, 'petrol = 15, ethanol = "85 ± 10"')["ethanol content of the target"]
    other = of_parts(tmp_path, 'petrol = "15 ± 10", ethanol = 85')["petrol content of the target"]
    assert np.abs(one) == pytest.approx(np.abs(other), rel=1e-6)


@pytest.mark.law
@pytest.mark.parametrize("component", ["toluene", "n-heptane", "iso-octane"])
def test_any_component_may_state_one(component: str, tmp_path: Path) -> None:
    rows = of_parts(tmp_path, f'petrol = 80, ethanol = 10, {component} = "10 ± 5"')
    assert np.abs(rows[f"{component} content of the target"]).min() > 1e-4
    assert f"{component} content of the target" not in of_parts(
        tmp_path, f"petrol = 80, ethanol = 10, {component} = 10"
    )


@pytest.mark.law
def test_the_slope_of_the_flow_line(tmp_path: Path) -> None:
    """Below its window the injector delivers slope times opening: ±10 % of one is ±10 % of λ, u = a/√3."""
    flow = ('static_flow = "560 cc/min"', 'static_flow = "560 cc/min ± 1 %"\nslope = "540 cc/min ± 10 %"')
    rows = contributions(tmp_path, replaced=(flow,))
    assert np.abs(rows["slope of the flow of the target"]) == pytest.approx(0.10 / RECTANGLE, rel=1e-5)
    assert np.abs(rows["injector flow of the target"]) == pytest.approx(0.01 / RECTANGLE, rel=1e-5)


@pytest.mark.law
@pytest.mark.parametrize(("applies", "counts"), [("", False), ('["pressure", "dead time"]', True)])
def test_a_donor_whose_mixture_is_not_known(applies: str, counts: bool, tmp_path: Path) -> None:
    """0.95 ± 0.10 of the air that its cells tell, where the target is meant to have a mixture of its own.

    Where the ECU divides the pulse by the intended λ, more λ is less fuel of as much air: nothing is left.
    """
    unknown = ("lambda = 1.0", 'lambda = "unknown"' + (f"\necu_applies = {applies}" if applies else ""))
    own = "\n[target.tables.fuel]\nlambda = 0.88\n"
    name = "intended λ of the donor"
    rows = contributions(tmp_path, own, replaced=(unknown,))
    expected = 0.10 / 0.95 / RECTANGLE if counts else 0.0
    assert np.abs(rows[name]) == pytest.approx(expected, rel=1e-5, abs=1e-9)
    assert name not in contributions(tmp_path, replaced=(unknown,))


@pytest.mark.parametrize(
    ("append", "key", "text"),
    [
        (
            '\n[target.injectors.added_time]\nopen = ["0.5 ms", "1.5 ms"]\ntime = ["0.15 ms ± 0.1 ms", "0 ms"]\n',
            "target.injectors.added_time.time[0]",
            "0.15 ms ± 0.1 ms",
        ),
        ('\n[donor.settings]\nstoichiometric = "14.7 ± 0.1"\n', "donor.settings.stoichiometric", "14.7 ± 0.1"),
        ('\n[target.tables.fuel]\nlambda = "0.9 ± 0.02"\n', "target.tables.fuel.lambda", "0.9 ± 0.02"),
    ],
)
def test_a_spread_without_a_part_is_refused(append: str, key: str, text: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        built(tmp_path, append)
    assert str(caught.value) == (
        f'job.toml: {key}: "{text}" states a spread, which the band on the mixture does not use: leave the spread out'
    )
