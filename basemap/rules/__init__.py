"""Suitability: one small function per rule, its threshold, source and remedy beside it."""

from basemap.rules.registry import RULES, all_rules

__all__ = ["RULES", "all_rules"]
