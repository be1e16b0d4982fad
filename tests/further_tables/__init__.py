"""The further tables: worked cells and laws."""
