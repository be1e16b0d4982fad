"""How a key of the job file gets its reader."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from pydantic_core import CoreSchema, core_schema


@dataclass(frozen=True)
class Reads:
    """Read a value as written with a function alone.

    pydantic's own `PlainValidator` does the same, and besides works out twice how each type would be written again: of
    250 keys that takes as long as all the rest of reading a job file, and no job file is written from here.
    """

    function: Callable[[Any], Any]

    def __get_pydantic_core_schema__(self, _source: object, _handler: object) -> CoreSchema:
        """What pydantic asks for."""
        return core_schema.no_info_plain_validator_function(self.function)
