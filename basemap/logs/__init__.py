"""Logs of drives: reading one, finding its steady stretches, and learning the table from them."""
