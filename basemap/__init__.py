"""Carry a fuel table from one engine to another and check it before it touches the engine."""

__version__ = "0.1.0"
