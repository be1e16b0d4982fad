"""Findings with one cause are shown as one: the gravest, with the places of the others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from basemap.model.finding import Finding, Severity

_WEIGHT = {Severity.STOP: 0, Severity.CAUTION: 1, Severity.NOTE: 2}


@dataclass(frozen=True)
class Cause:
    """Findings of one cause, the gravest first; of equal ones the first that was found."""

    cause: str
    findings: tuple[Finding, ...]

    @property
    def gravest(self) -> Finding:
        """The finding that is printed."""
        return self.findings[0]

    @property
    def severity(self) -> Severity:
        """How serious the whole is."""
        return self.gravest.severity

    @property
    def rules(self) -> tuple[str, ...]:
        """Names of the rules, each once."""
        return tuple(dict.fromkeys(one.rule for one in self.findings))


def by_cause(findings: Iterable[Finding]) -> tuple[Cause, ...]:
    """Findings grouped by cause; the groups in the order of their gravest findings."""
    groups: dict[str, list[Finding]] = {}
    for one in findings:
        groups.setdefault(one.cause or one.rule, []).append(one)
    made = [Cause(cause, tuple(sorted(each, key=lambda one: _WEIGHT[one.severity]))) for cause, each in groups.items()]
    return tuple(sorted(made, key=lambda group: _WEIGHT[group.severity]))
