"""One cell's whole chain, written out step by step with its numbers, so that a calculator can follow it."""
