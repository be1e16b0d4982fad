"""What a result has to say first, decided once: terminal, first sheet, page and JSON show the same statements."""

from basemap.report.brief.brief import as_json, brief
from basemap.report.brief.statement import COLUMNS, HEADINGS, Kind, Statement

__all__ = ["COLUMNS", "HEADINGS", "Kind", "Statement", "as_json", "brief"]
