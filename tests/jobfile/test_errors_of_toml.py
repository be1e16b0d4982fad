"""Job files that are no TOML: the commonest slips are named with key, line and remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from basemap.errors import InputError
from basemap.jobfile.load import read_written


def refused(folder: Path, text: str) -> str:
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8", newline="")
    with pytest.raises(InputError) as caught:
        read_written(path)
    return str(caught.value).removeprefix(f"{path}: ")


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("line", "message"),
    [
        (
            "compression_ratio = 9,5",
            'donor.engine.compression_ratio (line 3): "9,5": use a decimal point, not a comma: write 9.5',
        ),
        (
            "compression_ratio = 9,5  # as built",
            'donor.engine.compression_ratio (line 3): "9,5": use a decimal point, not a comma: write 9.5',
        ),
        ("x = -0,5", 'donor.engine.x (line 3): "-0,5": use a decimal point, not a comma: write -0.5'),
        (
            "throttles = { count = 4, feeds = 1,5 }",
            'donor.engine.feeds (line 3): "1,5": use a decimal point, not a comma: write 1.5',
        ),
        (
            "rev_limit = 6,500",
            'donor.engine.rev_limit (line 3): "6,500": a comma is neither a decimal point nor a thousands separator: '
            "write 6.500 or 6500",
        ),
        (
            "displacement = “1998 cc”",
            "donor.engine.displacement (line 3): the quotes are curly, as word processors write them: use straight "
            'quotes, displacement = "1998 cc"',
        ),
        (
            "displacement = „1998 cc“",
            "donor.engine.displacement (line 3): the quotes are curly, as word processors write them: use straight "
            'quotes, displacement = "1998 cc"',
        ),
        (
            'displacement = "1998 cc”',
            "donor.engine.displacement (line 3): the quotes are curly, as word processors write them: use straight "
            'quotes, displacement = "1998 cc"',
        ),
        ("[donor.engine]", "[donor.engine] appears twice (lines 2 and 3): put its keys into one section"),
        ("[ donor.engine ]", "[donor.engine] appears twice (lines 2 and 3): put its keys into one section"),
        ("cylinders = 4\ncylinders = 6", "donor.engine.cylinders: appears twice (lines 3 and 4): keep one of the two"),
    ],
)
def test_the_commonest_slips(tmp_path: Path, newline: str, line: str, message: str) -> None:
    text = f'title = "it’s 9,5"\n[donor.engine]\n{line}\n[target]\n'
    assert refused(tmp_path, text.replace("\n", newline)) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("title = ", "is not TOML: invalid value (at end of document)"),
        ('title = "it’s', "is not TOML: unterminated string (at end of document)"),
        ("a = 1\n[a.b]", "is not TOML: cannot overwrite a value (at line 2, column 5)"),
        ("a.b = 1\n[a]", "[a] appears twice (line 2): put its keys into one section"),
        ("x = 1\nx = 2", "x: appears twice (lines 1 and 2): keep one of the two"),
        ("x = 9,5,6", "is not TOML: expected newline or end of document after a statement (at line 1, column 6)"),
        (
            'x = "a, b = 9,5 " y',
            "is not TOML: expected newline or end of document after a statement (at line 1, column 19)",
        ),
    ],
)
def test_anything_else_keeps_the_parsers_words(tmp_path: Path, text: str, message: str) -> None:
    assert refused(tmp_path, text) == message
