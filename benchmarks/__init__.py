"""What is fast, measured: ``python -m benchmarks``."""
