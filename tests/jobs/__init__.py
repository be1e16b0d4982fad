"""Job files and table files that the tests read."""


def edited(text: str, *pairs: tuple[str, str]) -> str:
    """The text of a job with each first of a pair, which must be there, replaced once by the second."""
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text
