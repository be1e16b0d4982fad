"""The sheet of the first-start card prints on one page in large letters; the sheet of the sensors holds their numbers."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from basemap.adaptation.first_start import idle_point
from basemap.adaptation.pipeline import adapt
from basemap.model.job import Job
from basemap.model.sensor import ShownIn
from basemap.model.table import Storage
from basemap.workbook import write_workbook
from basemap.workbook.pages.first_start import SIZE
from tests.builders.computed import make_job, with_target
from tests.builders.files import with_lines
from tests.workbook import edited

# A4, with the margins of the sheet: 0.4 inch left, right and above, 0.5 below; 72 points and 96 pixels to the inch.
WIDTH_PX = (210 / 25.4 - 0.8) * 96
HEIGHT_PT = (297 / 25.4 - 0.9) * 72
HEAD_ROWS = 3
SENSORS = """
[donor.sensors.wideband]
kind = "air/fuel ratio"
volts = ["0 V", "5 V"]
value = ["10", "20"]
basis = 14.7

[target.sensors.wideband]
kind = "lambda"
volts = ["0 V", "5 V"]
value = ["0.6", "1.4"]

[donor.sensors.map]
kind = "pressure"
volts = ["0.5 V", "4.5 V"]
value = ["20 kPa", "105 kPa"]

[target.sensors.map]
kind = "pressure"
volts = ["0.4 V", "4.65 V"]
value = ["10 kPa", "250 kPa"]

[target.sensors."=1+1"]
kind = "position"
volts = ["0.5 V", "4.5 V"]
value = [0, 100]
"""


def opened(job: Job, *, merged: bool = False) -> Any:
    stream = io.BytesIO()
    write_workbook(adapt(job), stream)
    return edited.opened(stream.getvalue(), {"First start", "Sensors", "Summary"}, merged=merged)


def words(sheet: Any) -> list[str]:
    return [str(cell.value) for row in sheet.iter_rows() for cell in row if cell.value is not None]


JOBS: dict[str, Callable[[], Job]] = {
    "plain": make_job,
    "with sensors": lambda: with_lines(append=SENSORS),
    "another fuel": lambda: with_target(make_job(), "fuel", stoichiometric=9.0),
    "stopped": lambda: with_target(make_job(), "injectors", per_cylinder=0.2),
}


@cache
def book_of(name: str) -> Any:
    """The workbook of one of the jobs, to be looked at."""
    return opened(JOBS[name](), merged=name == "plain")  # whose boxes are counted


@pytest.mark.law
@pytest.mark.parametrize("name", JOBS)
def test_the_card_prints_on_one_page_at_its_own_size(name: str) -> None:
    sheet = book_of(name)["First start"]
    assert (sheet.page_setup.paperSize, sheet.page_setup.orientation) == (9, "portrait")
    margins = sheet.page_margins
    assert (margins.left, margins.right, margins.top, margins.bottom) == (0.4, 0.4, 0.4, 0.5)
    # The cautions begin a page of their own.
    (behind,) = [found.id for found in sheet.row_breaks.brk]
    assert sheet.cell(behind + 1, 1).value == "Not adapted, and why"
    assert not sheet.sheet_properties.pageSetUpPr.fitToPage  # fitted to pages, programs ignore the break
    rows = range(1, behind + 1)
    assert all(sheet.row_dimensions[row].height for row in rows)
    assert sum(sheet.row_dimensions[row].height for row in rows) <= HEIGHT_PT
    # A file holds a column's pixels in characters of 7.
    widths = [7 * sheet.column_dimensions[letter].width for letter in "ABCDEFG"]
    assert sum(widths) <= WIDTH_PX
    card = sheet.iter_rows(min_row=HEAD_ROWS + 1, max_row=behind)
    sizes = {cell.font.sz for row in card for cell in row if cell.value is not None}
    assert sizes == {SIZE}
    assert SIZE >= 12


@pytest.mark.law
def test_the_card_needs_no_colour() -> None:
    sheet = book_of("plain")["First start"]
    card = sheet.iter_rows(min_row=HEAD_ROWS + 1, max_row=sheet.row_breaks.brk[0].id)
    inks = {cell.font.color.rgb for row in card for cell in row if cell.value}
    assert inks == {"FF1C2B33"}


def test_the_card_holds_what_the_command_prints() -> None:
    sheet = book_of("plain")["First start"]
    held = words(sheet)
    boxes = [cell for row in sheet.iter_rows() for cell in row if not cell.protection.locked]
    assert len(boxes) == 25 + 7  # as many as there are lines
    assert {(cell.value, cell.border.left.style) for cell in boxes} == {(None, "thin")}
    for text in ("101.3 kPa ± 3", "not predicted: the job has no cranking table", "2.40, 2.05, 1.70 ms", "< 11.5 V",
                 "> 15.5 V for 1 s: engine off", "Ignition", "Acceleration"):  # fmt: skip
        assert text in held, text


def test_a_stop_stands_on_the_card() -> None:
    held = words(book_of("stopped")["First start"])
    assert any(text.startswith("■ STOP: do not start the engine on this map (") for text in held)


def test_the_card_takes_voltages_from_the_fitted_sensors() -> None:
    held = words(book_of("with sensors")["First start"])
    # By hand: 0.4 + 4.25 · (101.325 − 10)/240 V, and 5·(0.8 − 0.6)/0.8 and 5·(1.2 − 0.6)/0.8 V.
    assert "101.3 kPa ± 3, 2.02 V" in held
    assert "right at two points: λ 0.8 at 1.25 V, 1.2 at 3.75 V" in held


@pytest.mark.law
def test_idle_is_one_number_on_the_first_page_and_on_the_card() -> None:
    # Idle between four cells, by a table in steps of 8 %: none of the cells, and not what they should be.
    job = with_target(make_job(storage=Storage(step=8.0)), "engine", idle_rpm=1100.0, idle_pressure_pa=33e3)
    book = opened(job)
    summary = {row[0].value: row[4].value for row in book["Summary"].iter_rows() if row[0].value is not None}
    card = words(book["First start"])
    said = re.match(r"pulse (\S+) ms, duty (\S+) %, λ ", str(summary["Expect at warm idle (as issued)"]))
    assert said is not None
    pulse, duty = said.groups()
    assert f"{pulse} ms" in card
    assert f"{duty} %" in card
    point = idle_point(adapt(job))
    assert float(pulse) == pytest.approx(1e3 * point.pulse_s, abs=0.005)
    assert 0.0 <= float(duty) - 100.0 * point.duty <= 0.1  # rounded up
    cells = adapt(job).table.pulse_s * 1e3
    assert np.abs(cells - float(pulse)).min() > 0.01


NEAR_ZERO = """
[donor.sensors.map]
kind = "pressure"
volts = ["0.5 V", "4.5 V"]
value = ["0 psi absolute", "15 psi absolute"]

[target.sensors.map]
kind = "pressure"
volts = ["0.4 V", "5 V"]
value = ["-1 psi absolute", "45 psi absolute"]
"""


@pytest.mark.law
def test_what_a_change_of_unit_leaves_of_nothing_is_nothing() -> None:
    # By hand: -1 + 46 · (0.5 - 0.4)/4.6 psi is 0 at 0.5 V. The arithmetic makes it -2.6e-16 psi.
    job = with_lines(append=NEAR_ZERO)
    (sensor,) = adapt(job).sensors
    assert [point.enter for point in sensor.points] == [0.0, 40.0]
    assert sensor.as_loaded is not None
    for shown in (sensor.shown.of(sensor.as_loaded.true), sensor.shown.difference(sensor.as_loaded.error)):
        assert not ((shown != 0) & (np.abs(shown) < 1e-9)).any()
    sheet = opened(job)["Sensors"]
    numbers = [cell for row in sheet.iter_rows() for cell in row if isinstance(cell.value, (int, float))]
    assert max(len(cell.number_format) for cell in numbers) <= len("+0.0000;-0.0000;0")
    assert any(cell.value == 0 for cell in numbers)


@pytest.mark.law
def test_a_difference_has_no_zero_point_and_noise_is_nothing() -> None:
    fahrenheit = ShownIn("degF", 5 / 9, 459.67 * 5 / 9)
    # 0 degC is 32 degF; 5 K are 9 degF.
    assert float(fahrenheit.of(273.15)) == pytest.approx(32.0)
    assert float(fahrenheit.difference(5.0)) == pytest.approx(9.0)
    psi = ShownIn("psi absolute", 6894.757293168361)
    assert np.array_equal(psi.of(np.array([-3.6e-12, 0.0])), [0.0, 0.0])
    assert float(psi.difference(-3.6e-12)) == 0.0
    assert float(psi.of(1e-4)) == pytest.approx(1e-4 / 6894.757293168361, rel=1e-12)


def test_the_sheet_of_the_sensors() -> None:
    book = book_of("with sensors")
    assert book.sheetnames.index("Sensors") == book.sheetnames.index("Battery and heat") + 1
    sheet = book["Sensors"]
    held = words(sheet)
    assert [text for text in held if ": air/fuel" in text or ": pressure" in text or ": position" in text] == [
        "wideband: air/fuel ratio, air/fuel",
        "map: pressure, kPa",
        "=1+1: position, %",
    ]
    assert all(cell.data_type != "f" or cell.coordinate.endswith("3") for row in sheet.iter_rows() for cell in row)
    assert "Not compared: what the map holds is not known. State donor.sensors.=1+1 and run again." in held
    assert len(sheet._charts) == 2
    numbers = [cell.value for row in sheet.iter_rows() for cell in row if isinstance(cell.value, float)]
    for value in (8.82, 20.58, 15.6470588235, 241.529411765):
        assert any(abs(number - value) < 1e-8 for number in numbers), value


def test_without_sensors_there_is_no_such_sheet() -> None:
    assert "Sensors" not in book_of("plain").sheetnames
