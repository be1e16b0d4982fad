"""The building blocks of the JSON Schemas of the outputs."""

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
    """The same, or null where a value does not apply or cannot be calculated."""
    return {"anyOf": [one, {"type": "null"}]}


def listed(one: Schema) -> Schema:
    """A list of such values."""
    return {"type": "array", "items": one}


def by_name(one: Schema) -> Schema:
    """An object with one such value for each name; the job or the program gives the names."""
    return {"type": "object", "additionalProperties": one}


def word_of(words: type[StrEnum]) -> Schema:
    """A word of an enumeration."""
    return {"enum": [word.value for word in words]}


def has(keys: Mapping[str, tuple[Schema, str]]) -> Schema:
    """An object with these keys and no others; a key that ends in ``?`` may be missing.

    Parameters
    ----------
    keys
        Key → schema of its value, and its meaning in words.
    """
    return {
        "type": "object",
        "properties": {key.rstrip("?"): {**one, "description": words} for key, (one, words) in keys.items()},
        "required": [key for key in keys if not key.endswith("?")],
        "additionalProperties": False,
    }


VALUE = or_null(NUMBER)
"""A number, or null where it is not finite."""
NUMBERS, LIST = listed(NUMBER), listed(VALUE)
ROWS = listed(LIST)
SOURCE = has({"file": (TEXT, "as the user named it"), "sha256": (TEXT, "of its bytes")})
