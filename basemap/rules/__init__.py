"""Suitability: one small function per rule, its threshold, source and remedy beside it."""

from basemap.rules.registry import RULES

__all__ = ["RULES"]
