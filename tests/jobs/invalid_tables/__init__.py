"""Table files that must be refused, and what is then said."""
