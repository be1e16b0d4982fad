"""A log of a drive → steady observations."""
