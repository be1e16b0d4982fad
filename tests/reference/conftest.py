"""Libraries that take seconds to import, once per run."""

from __future__ import annotations

from typing import Any

import pytest


@pytest.fixture(scope="session")
def coolprop() -> Any:
    """The module of CoolProp that has ``PropsSI`` and ``HAPropsSI``; its import takes 3 s."""
    from CoolProp import CoolProp

    return CoolProp
