"""A result, or what drives taught, as one page of HTML: for a phone in a garage, and for paper."""
