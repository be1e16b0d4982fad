"""A result as one page of HTML: for a phone in a garage, and for paper."""

from basemap.report.page.write import page_html

__all__ = ["page_html"]
