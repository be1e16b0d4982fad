"""All columns of the sheet Rows that depend on the load, as formulas of names, with the model's own values."""

from __future__ import annotations

from collections.abc import Mapping

from basemap.model.result import Computed
from basemap.workbook.core.row_places import RowKey
from basemap.workbook.formulas.gain_rows import GainRows
from basemap.workbook.formulas.injector_rows import InjectorRows
from basemap.workbook.formulas.row import Address, Live
from basemap.workbook.inputs.input_cell import is_cancelled, known_rail


def live_rows(computed: Computed, address: Address) -> Mapping[RowKey, Live]:
    """Formulas and values by column.

    Parameters
    ----------
    address
        Gives the address of a figure of a row.
    """
    job, rows, gains = computed.job, InjectorRows(computed, address), GainRows(computed, address)
    found: dict[RowKey, Live] = {"map": rows.pressure()}
    found |= rows.side("donor") if known_rail(job, "donor") else {}
    found |= rows.side("target")
    found["donor_gain"] = gains.donor_gain()
    found["gain"] = gains.target_gain()
    if not is_cancelled(job):
        found["gain_old"] = gains.old_gain()
    return found
