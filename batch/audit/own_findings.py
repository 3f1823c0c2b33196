"""What the book's own checks found is part of the first question."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from siltbook.batch.audit.model import Place, RuleResult, State
from siltbook.batch.audit.rules import RULES
from siltbook.checks.findings import CATALOGUE, Finding, Severity

# Doubts about gauges, or about how work and times are written down: they say nothing against a
# reading, and the second question looks at the work itself.
HABITS = frozenset(
    {
        "several-without-time", "flush-without-cycles", "flush-signs-blank", "zero-not-shown",
        "episodes-recur", "gauge-too-coarse", "clean-drop-high",
    }
)  # fmt: skip
# Repeated readings are weighed by rules of their own, against how often this gauge repeats anyway
# (copied-block, stuck-gauge): on a coarse one read every day an honest hand repeats, so their
# number says nothing here.
WEIGHED = frozenset({"rows-copied"})
# A sheet of entries that was not read: whatever was asked, it was not asked of them.
UNASKED = "sheet-not-read"
MANY, MANY_SHARE = 5, 0.05  # doubts about data, and as a share of the readings; own rule


def book_findings(findings: Sequence[Finding], readings: int) -> RuleResult:
    """Errors and doubts counted, the worst named; to look at with any error or many doubts, or
    where a sheet was not read."""
    rule = RULES["book-findings"]
    order = list(Severity)
    kept = sorted(
        (f for f in findings if f.severity is not Severity.NOTE),
        key=lambda f: (order.index(f.severity), f.rule != UNASKED, f.rule in HABITS),
    )
    count = Counter(f.severity for f in findings)
    errors = count[Severity.ERROR]
    passed = HABITS | WEIGHED
    data = sum(f.severity is Severity.DOUBT and f.rule not in passed for f in findings)
    unasked = any(f.rule == UNASKED for f in findings)
    look = errors > 0 or unasked or data >= max(MANY, MANY_SHARE * readings)
    places = tuple(_place(f, holds=not look or _by_habit(f)) for f in kept)
    said = ", ".join(_named(count[s], s) for s in order if count[s]) or "No findings"
    if kept:
        said = f"{said}; the worst: {_short(kept[0])}"
    return RuleResult(rule, State.LOOK if look else State.QUIET, f"{said}.", places=places)


def _by_habit(finding: Finding) -> bool:
    return finding.severity is Severity.DOUBT and finding.rule in HABITS


def _named(count: int, severity: Severity) -> str:
    return f"{count:,} {severity}{'' if count == 1 else 's'}"


def _short(finding: Finding) -> str:
    """Where, what, and what was read."""
    where = f"{finding.sheet}!{finding.cell}" if finding.cell else finding.sheet
    title = CATALOGUE[finding.rule].title
    return f"{where}, {title[0].lower()}{title[1:]} ({finding.read})"


def _place(finding: Finding, *, holds: bool) -> Place:
    said = f"{finding.severity}: {_short(finding)}"
    return Place(finding.sheet, finding.cell, said, finding.station, holds=holds)
