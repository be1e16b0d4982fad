"""A result, or what drives taught, as one page of HTML: for a phone in a garage, and for paper."""

from basemap.report.page.learnt import learnt_html
from basemap.report.page.write import page_html

__all__ = ["learnt_html", "page_html"]
