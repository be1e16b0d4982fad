"""The Python of the user guide runs, and runs again."""

from __future__ import annotations

import re
import subprocess
import sys

from tests.docs.markdown import DOCS, ROOT, read

EXAMPLE = re.search(r"^```python\n(.*?)^```$", read(DOCS / "user_guide.md"), re.MULTILINE | re.DOTALL)


def test_the_example_runs_twice() -> None:
    assert EXAMPLE
    # The second time everything is loaded already, and the public names must still be what they were.
    code = EXAMPLE[1] * 2
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT / "sample_tables",
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )
    assert done.stderr == ""
    assert done.stdout.splitlines()[0] == "adapt first"
    assert done.stdout.count("adapt first\n") == 2
