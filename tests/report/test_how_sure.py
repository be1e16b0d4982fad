"""What is said of the band of a further table: never narrower than it is, and no end where there is none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from basemap.model.further_table import FurtherBand
from basemap.report.terminal.further_tables import how_sure, percent_or_dash
from tests.builders.round_numbers import CRANK, CRANK_CSV, first, job_with

BEGIN, END = "The mixture is within ", " of the donor's on this table (k = 2"
COLD = " This leaves out how much of the fuel evaporates in the cold."


def said(folder: Path, *expanded: float, simulated: int = 0) -> str:
    band = np.array(expanded)
    drawn = np.arange(band.size) < simulated
    found = first(job_with(folder, CRANK, crank=CRANK_CSV))
    return how_sure(found, FurtherBand(band, band, drawn, (), np.zeros((0, band.size))))


def test_it_is_never_said_narrower_than_it_is(tmp_path: Path) -> None:
    assert said(tmp_path, 0.0901, np.nan, 0.12) == f"{BEGIN}±9.1 to ±12.0 %{END}).{COLD}"
    assert said(tmp_path, 0.0901, 0.0909) == f"{BEGIN}±9.1 %{END}).{COLD}"
    assert percent_or_dash(0.0901) == "9.1"


def test_worlds_without_fuel_have_no_end(tmp_path: Path) -> None:
    assert said(tmp_path, np.inf, 0.1, simulated=1) == (
        f"{BEGIN}no limit on the lean side in some cells{END}; by Monte Carlo in 1 cell, where most of the pulse is "
        f"dead time).{COLD}"
    )
    assert percent_or_dash(np.inf) == "infinite"


@pytest.mark.parametrize("unknown", [(np.nan,), (np.nan, np.nan)])
def test_no_fuel_has_no_band(tmp_path: Path, unknown: tuple[float, ...]) -> None:
    assert said(tmp_path, *unknown) == "The uncertainty of the mixture is not known: no cell delivers fuel."
