"""Whole job files that must be refused, each with its whole message."""

from __future__ import annotations

import tomllib

import pytest

from basemap.errors import InputError, Mistakes, NotSupportedYet
from basemap.jobfile.load import load_job
from tests.builders.files import INVALID

LIST = INVALID / "messages.toml"
MESSAGES: dict[str, str] = tomllib.loads(LIST.read_text(encoding="utf-8"))
NAMES = sorted(path.stem for path in INVALID.glob("*.toml") if path != LIST)


SEVERAL = {
    "boosted_peak_below_barometer": 2,  # the target does not say how it breathes either
    "dead_time_lists_exchanged": 2,
    "first_of_several_in_file_order": 3,
    "induction_missing_under_boost_rows": 2,  # on either side
    "renamed_inside_bent_line": 3,
}
"""Jobs with more than one mistake; every other has one."""


def test_the_folder_and_the_list_agree() -> None:
    assert sorted(MESSAGES) == NAMES


def test_there_are_enough_of_them() -> None:
    assert len(NAMES) >= 45


def test_the_whole_message_and_how_many_mistakes_it_names(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(INVALID)
    found = {name: refused(f"{name}.toml") for name in NAMES}
    expected = {name: (MESSAGES[name], SEVERAL.get(name, 1)) for name in NAMES}
    assert {name: said for name, said in found.items() if said != expected[name]} == {}


def refused(file: str) -> tuple[str, int]:
    """What is said of a job file, and of how many mistakes."""
    try:
        load_job(file)
    except InputError as error:
        return str(error), error.count if isinstance(error, Mistakes) else 1
    return "it is read", 0


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("later_")])
def test_what_comes_later_is_refused_as_such(name: str) -> None:
    with pytest.raises(NotSupportedYet):
        load_job(INVALID / f"{name}.toml")


def test_a_message_is_one_line_that_begins_with_a_file_and_quotes_no_library() -> None:
    libraries = ("pydantic", "pint", "traceback", "validation error")
    assert [name for name, message in MESSAGES.items() if "\n" in message or message.endswith(".")] == []
    first = {name: message.split(": ")[0] for name, message in MESSAGES.items()}
    assert [name for name, file in first.items() if not file.endswith((".toml", ".csv"))] == []
    assert [name for name, message in MESSAGES.items() if any(word in message.lower() for word in libraries)] == []
