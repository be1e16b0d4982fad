"""One page of HTML, of a result or of what drives taught: for a phone in a garage, and for paper."""
