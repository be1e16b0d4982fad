"""Tests of basemap.tables."""
