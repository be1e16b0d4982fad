"""Job files and table files that the tests read."""
