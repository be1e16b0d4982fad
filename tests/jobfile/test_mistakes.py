"""Mistakes of a job that is put together: as many as can be seen, in the order of the file, and none that follows."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.errors import InputError
from tests.builders.round_numbers import job_with

BAD_TIMES = ('time = ["2.6 ms", "1.8 ms", "1.0 ms"]', 'time = ["1.0 ms", "1.8 ms", "2.6 ms"]')
NO_FLOW = ('static_flow = "480 g/min"\n', "")
ATMOSPHERIC = ('induction = "atmospheric"', 'induction = "atmospheric"\npeak_pressure = "180 kPa"')
NO_RAIL = (
    'rail_pressure = "3.0 bar"\nregulator = "manifold"\n\n[donor.tables.fuel]',
    'regulator = "manifold"\n\n[donor.tables.fuel]',
)
NO_RATIO = ("lambda = 1.0", 'lambda = "afr.csv"')
WARM = """
[donor.tables.warm]
file = "warm.csv"
quantity = "percent"
axis = "coolant temperature"
"""


def said(folder: Path, tables: str, *pairs: tuple[str, str], **files: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        job_with(folder, tables, *pairs, **files)
    return caught.value.lines


def test_three_mistakes_of_three_parts(tmp_path: Path) -> None:
    lines = said(tmp_path, "", ATMOSPHERIC, NO_FLOW, BAD_TIMES)
    assert lines[0] == "job.toml: 3 mistakes:"
    assert [line.split(": ")[0].strip() for line in lines[1:]] == [
        "donor.injectors.dead_time.time",
        "target.engine.peak_pressure",
        "target.injectors.static_flow",
    ]


def test_mistakes_in_files_of_tables_stand_where_the_job_names_them(tmp_path: Path) -> None:
    afr = "kPa,1000,3000,5000\n30,14.7,14.7,14.7\n60,14.7,14.5,14\n100,12.8,12.8,12.5\n"
    lines = said(tmp_path, WARM, NO_RATIO, NO_FLOW, NO_RAIL, afr=afr, warm="degC,%\n-20,160\n0,140\n60,100\n")
    assert lines[0] == "job.toml: 4 mistakes:"
    assert lines[1].startswith("  donor.fuel.rail_pressure: missing")
    assert lines[2].startswith("  afr.csv: 30 kPa, 1000 rpm: holds 14.7, a lambda of 14.7")
    assert [line.split(": ")[0].strip() for line in lines[3:]] == [
        "donor.tables.warm.axis_unit",
        "target.injectors.static_flow",
    ]


def test_nothing_is_said_of_what_only_follows(tmp_path: Path) -> None:
    (line,) = said(
        tmp_path,
        WARM.replace("file", 'axis_unit = "degC"\nfile'),
        ('displacement = "2000 cc"\n', ""),
        warm="degC,%\n0,140\n60,100\n",
    )
    assert line.startswith("job.toml: donor.engine.displacement: missing")


def test_a_second_mistake_hides_no_first(tmp_path: Path) -> None:
    for pair in (ATMOSPHERIC, NO_FLOW):
        for other in (BAD_TIMES, ("stoichiometric = 14.7", "octane = 95")):
            assert len(said(tmp_path, "", pair, other)) == 3
