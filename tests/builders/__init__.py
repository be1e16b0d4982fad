"""Builders of jobs that several folders of tests use."""
