"""Tests of basemap."""
