"""The page of all rules is what the program would write."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from basemap.rules import RULES
from basemap.rules.document import rules_page

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "rules.md"


@pytest.mark.law
def test_the_page_is_up_to_date() -> None:
    # Else: python -m basemap.rules.document > docs/rules.md
    assert PAGE.read_text(encoding="utf-8") == rules_page()


@pytest.mark.law
def test_every_rule_has_its_section() -> None:
    sections = [line[3:] for line in rules_page().splitlines() if line.startswith("## ")]
    assert sections == [rule.name for rule in RULES]


@pytest.mark.law
def test_the_module_prints_the_page() -> None:
    done = subprocess.run([sys.executable, "-m", "basemap.rules.document"], cwd=ROOT, capture_output=True, check=True)
    assert done.stdout.decode("utf-8") == rules_page()
