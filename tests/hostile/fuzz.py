"""Any bytes are a value or an `InputError`: look for bytes that are neither, for so many seconds.

Run as ``python -m tests.hostile.fuzz SECONDS``. With atheris installed the search is led by what the bytes reach in
the readers; without it valid files are changed at random. Ends with status 1 where a reader raises anything else, and
keeps the bytes beside the message, in a temporary folder.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path

from tests.hostile.mutations import mutated

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tables"
Reader = Callable[[bytes], str | None]


def readers(folder: Path) -> dict[str, Reader]:
    """The readers under test; `folder` is where a job file finds its tables."""
    # Only here, so that atheris can see it being imported.
    from tests.hostile.contract import grid, job, line, result

    for sample in SAMPLES.glob("*.*"):
        shutil.copy(sample, folder)
    return {
        "grid": grid,
        "line": line,
        "job": lambda data: job(data, folder),
        "result": lambda data: result(data, folder),
    }


def seeds(reader: str) -> list[bytes]:
    """Valid files to begin with."""
    patterns = {
        "job": ["*.toml"],
        "result": ["*.toml"],
        "grid": ["*fuel*", "*lambda*"],
        "line": ["*crank*", "*prime*", "*warm_up*"],
    }
    return [path.read_bytes() for pattern in patterns[reader] for path in sorted(SAMPLES.glob(pattern))]


def fails(read: Reader, data: bytes) -> str | None:
    """The traceback of a reader that breaks its promise."""
    try:
        read(data)
    except Exception:  # the bug that is looked for, whatever it is
        return traceback.format_exc()
    return None


def search(seconds: float, seed: int) -> int:
    """Change valid files at random; return the number of different failures."""
    found: set[str] = set()
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        under_test = readers(Path(folder))
        valid = {name: seeds(name) for name in under_test}
        end, tried = time.monotonic() + seconds, 0
        while time.monotonic() < end:
            name = chance.choice(sorted(under_test))
            data = mutated(chance.choice(valid[name]), chance)
            tried += 1
            failure = fails(under_test[name], data)
            if failure is not None and (where := failure.splitlines()[-3]) not in found:
                found.add(where)
                _keep(name, data, failure)
    print(f"{tried} inputs, {len(found)} failures", flush=True)
    return len(found)


def _keep(name: str, data: bytes, failure: str) -> None:
    with tempfile.NamedTemporaryFile(prefix=f"basemap-{name}-", delete=False) as kept:
        kept.write(data)
    print(f"{kept.name}\n{failure}", flush=True)


def led_search(seconds: int) -> None:
    """Search with atheris, which ends the process itself."""
    import atheris

    folder = Path(tempfile.mkdtemp())
    with atheris.instrument_imports(include=["basemap", "tomllib"]):
        under_test = readers(folder)
    names = sorted(under_test)
    corpus = folder / "corpus"
    corpus.mkdir()
    for index, name in enumerate(names):
        for number, data in enumerate(seeds(name)):
            (corpus / f"{name}{number}").write_bytes(bytes([index]) + data)

    def one(data: bytes) -> None:
        if data:
            under_test[names[data[0] % len(names)]](data[1:])

    atheris.Setup([sys.argv[0], f"-max_total_time={seconds}", "-rss_limit_mb=1200", "-timeout=10", str(corpus)], one)
    atheris.Fuzz()


def main() -> int:
    """Search as long as the command line says."""
    seconds = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    try:
        import atheris  # noqa: F401
    except ImportError:
        print("atheris is not installed: valid files are changed at random instead", flush=True)
        return 1 if search(seconds, int(sys.argv[2]) if len(sys.argv) > 2 else 0) else 0
    led_search(seconds)
    return 0


if __name__ == "__main__":
    sys.exit(main())
