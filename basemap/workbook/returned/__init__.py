"""Reads a workbook that comes back: what was changed in it, and how that goes into a job file."""
