"""Format, lint, types, tests and doctests with one command: ``python -m tests.everything``."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]

STEPS = {
    "format": ("ruff", "format", "--check", "."),
    "lint": ("ruff", "check", "."),
    "types": ("mypy",),
    # What only some systems have is found by its name, without them; each keeps a cache of its own.
    "types-windows": ("mypy", "--platform", "win32", "--cache-dir", ".mypy_cache/win32"),
    "types-macos": ("mypy", "--platform", "darwin", "--cache-dir", ".mypy_cache/darwin"),
    "tests and doctests": ("pytest",),
}


def failures(names: list[str]) -> list[str]:
    """Run the named steps, all of them whatever fails, and name those that failed."""
    failed = []
    for name in names:
        print(f"--- {name}", flush=True)
        if subprocess.run([sys.executable, "-m", *STEPS[name]], cwd=ROOT, check=False).returncode:
            failed.append(name)
    return failed


def main(arguments: list[str]) -> int:
    """Run every step, or those named; 0 if all are well."""
    unknown = [name for name in arguments if name not in STEPS]
    if unknown:
        print(f"no such step: {', '.join(unknown)}; there are: {', '.join(STEPS)}")
        return 2
    failed = failures(arguments or list(STEPS))
    print(f"failed: {', '.join(failed)}" if failed else "all well")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
