"""The page of all rules, written from the rules themselves: ``python -m basemap.rules.document > docs/rules.md``."""

from __future__ import annotations

import sys

from basemap.rules.registry import RULES
from basemap.rules.rule import Rule

_TOP = """# Suitability rules

Written from the program by `python -m basemap.rules.document`; do not edit it by hand.

Every rule trips, passes, or is *not judged* because the job lacks something. One list names what is missing, starting
with the rules that could have stopped the map. Findings with the same cause are shown as one: the gravest, with the
places of the others.

* **Open loop.** The mixture is judged with all trims off: closed loop hides an error until its authority runs out.
* **Twice.** Rules on λ are judged for the untouched map (a caution at most), and for the adapted table with the new
  settings, unrounded and as stored. Only the second can be a stop.
* **Central value.** A stop needs a central value beyond its limit. If only the dangerous end of the band (k = 2)
  passes it, that is a caution: *not shown to be safe*.
* **Reachable cells only.** A cell counts if the target reaches it: up to its rev limit or `rev_cut` and its peak
  pressure or `load_cut`, including the row and the column that bracket them.
* **Scope.** A stop applies to the whole file, or only above a limit: a load or a speed above which nothing is known. A
  `load_cut` or `rev_cut` at or below the limit meets it; every output then names the cut.
* **Places.** *At load*: from 0.8 of the barometer up. *Wide open*: within 5 % of the barometer. *Boost*: above the
  barometer + 5 kPa. *Idle*: `engine.idle`. On an air-mass axis: the upper third of the loads in reach; from 85 % of
  what a cylinder holds at the barometer; all cells that idle may take, breathing 35 to 95 %. On a throttle axis: where
  the manifold of either engine is at 0.8 of its barometer or more; from 90 % opening; where the manifold is at the
  idle pressure. These borders are common practice, no source.
* **Humidity** is in no rule. Moist air holds less oxygen: on a warm damp day the mixture is 1 to 4 % richer than
  calculated.
* **Order.** Stops, cautions, notes; within each the rules in the order of this page, the most dangerous first, and
  findings about the untouched map last.
* **Override.** With `--accept RULE` you accept a stop at your own risk. Every output records it.

Verdicts: *suits as it is*: the old table with the old settings is within 3 % of the intended λ in every reachable cell,
and there is no stop. *Adapt first*: no stop is left once adapted. *Do not use*: a stop is left.

| rule | |
|---|---|
"""


def rules_page() -> str:
    """The page as Markdown."""
    contents = "".join(f"| [`{rule.name}`](#{rule.name}) | {rule.title} |\n" for rule in RULES)
    return _TOP + contents + "".join(_section(rule) for rule in RULES)


def _section(rule: Rule) -> str:
    stops = "May stop." if rule.can_stop else "Never stops."
    return (
        f"\n## {rule.name}\n\n**{rule.title}.** {stops}\n\n"
        f"* Threshold: {rule.threshold}\n* Why: {rule.why}\n* Source: {rule.source}.\n* What to do: {rule.remedy}\n"
    )


if __name__ == "__main__":
    # UTF-8 whatever the console is set to, for λ is in the page.
    sys.stdout.buffer.write(rules_page().encode("utf-8"))
