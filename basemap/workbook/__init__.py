"""The workbook: what a tuner checks, prints and sends back."""

from basemap.workbook.write import write_workbook

__all__ = ["write_workbook"]
