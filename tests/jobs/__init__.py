"""Job files and table files that the tests read."""


def edited(text: str, *changes: tuple[str, str]) -> str:
    """The text of a job with changes, each from an old text, which must occur, to a new one; only its first place."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text
