"""What the JSON Schemas of the outputs are put together from."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any

Schema = dict[str, Any]
DIALECT = "https://json-schema.org/draft/2020-12/schema"

TEXT: Schema = {"type": "string"}
NUMBER: Schema = {"type": "number"}
YES_NO: Schema = {"type": "boolean"}
DATE: Schema = {"type": "string", "format": "date"}


def or_null(one: Schema) -> Schema:
    """The same, or null for what does not apply or cannot be."""
    return {"anyOf": [one, {"type": "null"}]}


def listed(one: Schema) -> Schema:
    """A list of them."""
    return {"type": "array", "items": one}


def by_name(one: Schema) -> Schema:
    """One for each name, which the job or the program gives."""
    return {"type": "object", "additionalProperties": one}


def word_of(words: type[StrEnum]) -> Schema:
    """One of the words of an enumeration."""
    return {"enum": [word.value for word in words]}


def has(entries: Mapping[str, tuple[Schema, str]]) -> Schema:
    """An object with these keys and no other; one that ends in ``?`` may be missing.

    Parameters
    ----------
    entries
        Key → what stands there, and what it means in words.
    """
    return {
        "type": "object",
        "properties": {key.rstrip("?"): {**one, "description": words} for key, (one, words) in entries.items()},
        "required": [key for key in entries if not key.endswith("?")],
        "additionalProperties": False,
    }


VALUE = or_null(NUMBER)
"""A number, or null for what is not finite."""
NUMBERS, LIST = listed(NUMBER), listed(VALUE)
ROWS = listed(LIST)
SOURCE = has({"file": (TEXT, "as the user named it"), "sha256": (TEXT, "of its bytes")})
