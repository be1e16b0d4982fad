"""The brief of a result, decided once: terminal, first sheet, page and JSON show the same statements."""

from basemap.report.brief.brief import as_json, brief, heading
from basemap.report.brief.statement import COLUMNS, Statement, Topic

__all__ = ["COLUMNS", "Statement", "Topic", "as_json", "brief", "heading"]
