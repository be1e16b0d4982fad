"""Frozen data classes of our own are what the standard library's are."""

from __future__ import annotations

import copy
import pickle
from dataclasses import FrozenInstanceError, asdict, dataclass, field, fields, replace
from functools import cached_property

import pytest

from basemap.frozen import frozen


@frozen
class Ours:
    """A field, one with a default, one made anew."""

    x: float
    name: str = "a"
    more: dict[str, int] = field(default_factory=dict, hash=False)

    @cached_property
    def twice(self) -> float:
        """Kept beside the fields."""
        return 2.0 * self.x


@dataclass(frozen=True)
class Theirs:
    """The same."""

    x: float
    name: str = "a"
    more: dict[str, int] = field(default_factory=dict, hash=False)


@frozen
class Further(Ours):
    """With one more."""

    y: float = field(default=0.0, kw_only=True)


# The standard library's own decorator.
@pytest.mark.check_value
def test_it_does_what_the_standard_library_does() -> None:
    ours, theirs = Ours(1.5, more={"k": 1}), Theirs(1.5, more={"k": 1})
    assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
    assert asdict(ours) == asdict(theirs)
    assert [one.name for one in fields(Ours)] == [one.name for one in fields(Theirs)]
    assert replace(ours, name="b") == Ours(1.5, "b", {"k": 1})
    assert Ours(1.0) == Ours(1.0) != Ours(2.0)
    assert Ours(1.0).__eq__(Theirs(1.0)) is NotImplemented
    assert pickle.loads(pickle.dumps(ours)) == ours
    assert copy.deepcopy(ours) == ours
    assert Further(1.0, y=2.0) == Further(1.0, y=2.0) != Further(1.0)
    assert Further(1.0) != Ours(1.0)
    assert ours.more is not Ours(1.5).more


@pytest.mark.parametrize("made", [Ours, Theirs])
def test_nothing_can_be_changed(made: type) -> None:
    one = made(1.0)
    for name in ("x", "name", "neither"):
        with pytest.raises(FrozenInstanceError):
            setattr(one, name, 2.0)
    with pytest.raises(FrozenInstanceError):
        del one.x
    assert one.x == 1.0


def test_what_is_worked_out_once_stays() -> None:
    one = Ours(2.0)
    assert (one.twice, one.twice, replace(one, x=3.0).twice) == (4.0, 4.0, 6.0)
    assert one == Ours(2.0)


def test_equal_ones_hash_alike() -> None:
    @frozen
    class Point:
        x: float
        y: str

    assert hash(Point(1.0, "a")) == hash(Point(1.0, "a"))
    assert len({Point(1.0, "a"), Point(1.0, "a"), Point(1.0, "b")}) == 2
