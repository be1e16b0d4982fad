"""The documentation as text: files, links, headings, tables and generated blocks."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"

_LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")
_CODE_BLOCK = re.compile(r"^(```|~~~).*?^\1\s*$", re.MULTILINE | re.DOTALL)
_HEADING = re.compile(r"^#+ +(.*?)\s*$", re.MULTILINE)


def pages() -> list[Path]:
    """Every page of documentation."""
    return sorted([*ROOT.glob("*.md"), *DOCS.rglob("*.md"), *(ROOT / "sample_tables").glob("*.md")])


def read(path: Path) -> str:
    """Text of a page."""
    return path.read_text(encoding="utf-8")


def links(text: str) -> list[str]:
    """Targets of links and pictures, those inside code blocks apart."""
    return _LINK.findall(_CODE_BLOCK.sub("", text))


def anchors(text: str) -> set[str]:
    """What a link may name after ``#``: the headings, in lower case, blanks as hyphens, without punctuation."""
    slugs = set()
    for heading in _HEADING.findall(_CODE_BLOCK.sub("", text)):
        plain = re.sub(r"[`*]", "", heading).lower()
        slugs.add(re.sub(r"[^\w\- ]", "", plain).replace(" ", "-"))
    return slugs


def table_under(text: str, heading: str) -> list[list[str]]:
    """Rows of the first table below a heading, its head line apart; cells without backticks and blanks around."""
    section = text.split(f"\n{heading}\n", 1)[1]
    lines = section[section.index("\n|") + 1 :].splitlines()
    rows = []
    for line in lines:
        if not line.startswith("|"):
            break
        rows.append([cell.strip().strip("`") for cell in re.split(r"(?<!\\)\|", line.strip().strip("|"))])
    return rows[2:]


_GENERATED = re.compile(
    r"(?P<start><!-- generated: (?P<name>.+?) -->\n(?P<fence>```\w*\n)?)(?P<held>.*?)\n?(?:```\n)?<!-- end -->",
    re.DOTALL,
)


def generated_blocks(text: str) -> dict[str, str]:
    """Content of every ``<!-- generated: NAME -->`` … ``<!-- end -->``, by name, without its code fence."""
    return {match["name"]: match["held"].strip("\n") for match in _GENERATED.finditer(text)}


def with_generated(text: str, name: str, content: str) -> str:
    """The page with one generated block replaced."""

    def written(match: re.Match[str]) -> str:
        if match["name"] != name:
            return match[0]
        if match["fence"]:
            return f"{match['start']}{content}\n```\n<!-- end -->"
        # A table needs an empty line before it, after a comment.
        return f"{match['start'].rstrip()}\n\n{content}\n\n<!-- end -->"

    return _GENERATED.sub(written, text)
