"""Whole job files that must be refused, each with its whole message."""

from __future__ import annotations

import tomllib

import pytest

from basemap.errors import InputError, NotSupportedYet
from basemap.jobfile.load import load_job
from tests.jobfile.jobs import INVALID

LIST = INVALID / "messages.toml"
MESSAGES: dict[str, str] = tomllib.loads(LIST.read_text(encoding="utf-8"))
NAMES = sorted(path.stem for path in INVALID.glob("*.toml") if path != LIST)


def test_the_folder_and_the_list_agree() -> None:
    assert sorted(MESSAGES) == NAMES


def test_there_are_enough_of_them() -> None:
    assert len(NAMES) >= 45


@pytest.mark.parametrize("name", NAMES)
def test_the_whole_message(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(INVALID)
    with pytest.raises(InputError) as caught:
        load_job(f"{name}.toml")
    assert str(caught.value) == MESSAGES[name]


@pytest.mark.parametrize("name", [name for name in NAMES if name.startswith("later_")])
def test_what_comes_later_is_refused_as_such(name: str) -> None:
    with pytest.raises(NotSupportedYet):
        load_job(INVALID / f"{name}.toml")


@pytest.mark.parametrize("name", NAMES)
def test_a_message_is_one_line_that_begins_with_a_file(name: str) -> None:
    message = MESSAGES[name]
    assert "\n" not in message
    assert message.split(": ")[0].endswith((".toml", ".csv"))
    assert not message.endswith(".")


@pytest.mark.parametrize("name", NAMES)
def test_no_message_quotes_the_libraries(name: str) -> None:
    assert not any(word in MESSAGES[name].lower() for word in ("pydantic", "pint", "traceback", "validation error"))
