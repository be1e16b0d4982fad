"""The brief of a result, decided once: terminal, first sheet, page and JSON show the same statements."""

from basemap.report.brief.brief import as_json, brief
from basemap.report.brief.statement import COLUMNS, HEADINGS, Statement, Topic

__all__ = ["COLUMNS", "HEADINGS", "Statement", "Topic", "as_json", "brief"]
