"""Run the program as a user does, and get back what it printed and how it ended."""

from __future__ import annotations

import io
import os
import subprocess
import sys
from collections.abc import Mapping
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from unittest.mock import patch

from basemap.__main__ import main

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = ROOT / "sample_tables"
PLAIN = {"COLUMNS": "80", "LINES": "50", "TERM": "dumb", "NO_COLOR": "1"}


@dataclass(frozen=True)
class Ended:
    """How a run ended."""

    stdout: str
    stderr: str
    status: int


def run(
    *arguments: object, stdin: bytes = b"", environment: Mapping[str, str] = PLAIN, encoding: str = "utf-8"
) -> Ended:
    """The real main, in this process."""
    streams = [io.TextIOWrapper(io.BytesIO(content), encoding=encoding) for content in (stdin, b"", b"")]
    with ExitStack() as stack:
        for name, stream in zip(("stdin", "stdout", "stderr"), streams, strict=True):
            stack.enter_context(patch.object(sys, name, stream))
        stack.enter_context(patch.dict(os.environ, environment))
        for variable in ("FORCE_COLOR", "NO_COLOR", "CLICOLOR_FORCE"):
            if variable not in environment:
                os.environ.pop(variable, None)
        status = main([str(argument) for argument in arguments])
    out, err = (stream.buffer.getvalue().decode(encoding) for stream in streams[1:])
    return Ended(out, err, int(status))


def run_process(*arguments: object, environment: Mapping[str, str] = PLAIN, module: bool = True) -> Ended:
    """The program in a process of its own."""
    start = [sys.executable, "-m", "basemap"] if module else [str(Path(sys.executable).with_name("basemap"))]
    done = subprocess.run(
        [*start, *(str(argument) for argument in arguments)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONUTF8": "1", **environment},
    )
    return Ended(done.stdout, done.stderr, done.returncode)
