"""The documented exit statuses are the program's."""

from __future__ import annotations

from basemap.exit_status import ExitStatus
from basemap.model.finding import Verdict
from tests.docs.markdown import DOCS, read, table_under

GUIDE = read(DOCS / "user_guide.md")


def test_the_guide_has_every_status() -> None:
    assert [int(row[0]) for row in table_under(GUIDE, "### Exit statuses")] == sorted(ExitStatus)


def test_the_status_of_each_verdict() -> None:
    documented = {row[0]: int(row[2]) for row in table_under(GUIDE, "### Verdicts")}
    assert documented == {
        Verdict.SUITS: ExitStatus.OK,
        Verdict.ADAPT: ExitStatus.ADAPT_FIRST,
        Verdict.REFUSE: ExitStatus.DO_NOT_USE,
    }
