"""The exit statuses of every command, in one place."""

from enum import IntEnum


class ExitStatus(IntEnum):
    """What a command's exit status means."""

    OK = 0
    """Done; for ``check``: the map suits as it is, at load too."""
    BAD_INPUT = 2
    """Something the user wrote cannot be used: nothing was written."""
    DO_NOT_USE = 3
    """A stop stands."""
    ADAPT_FIRST = 4
    """``check`` only: the map can be used once adapted, or unchanged, but not at load until measured."""
