"""The band on λ: held against other ways to the same number."""
