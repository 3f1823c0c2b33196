"""What stands on Actions beside the stations that need nothing, and speaks against it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.sheets import kit as k
from siltbook.checks.findings import Finding, Severity
from siltbook.templates.contract import RESULT_SHEETS

MOST = 12  # stations in range of which a doubt is said here; Station review has all
NOTHING = "No station needs anything."
AS_FAR = "No station of the register needs anything, as far as the data tell."
FINDINGS = next(name for name in RESULT_SHEETS if name == "Findings")


def nothing_to_do(findings: Iterable[Finding]) -> str:
    """The line where no station is listed; another one where something could not be used."""
    wrong = any(finding.severity is Severity.ERROR for finding in findings)
    return AS_FAR if wrong else NOTHING


def beside_lines(assessment: Assessment) -> list[str]:
    """A line each: names that no register has, how many findings, what is doubtful in range."""
    return [*_unknown(assessment), *_counted(assessment), *_doubts(assessment.stations)]


def _unknown(assessment: Assessment) -> list[str]:
    """Rows of readings and work that are judged nowhere."""
    book = assessment.book
    lists = (book.readings.sheet, book.work.sheet)
    said = [
        f"{finding.sheet} {finding.cell}, {finding.read}"
        for finding in assessment.findings
        if finding.rule == "station-unknown" and finding.sheet in lists
    ]
    if not said:
        return []
    rest = f"; and {len(said) - MOST} more" if len(said) > MOST else ""
    names = "; ".join(said[:MOST])
    return [k.clean(f"Judged nowhere, under a name that the register lacks: {names}{rest}.")]


def _counted(assessment: Assessment) -> list[str]:
    counts = Counter(finding.severity for finding in assessment.findings)
    words = [
        f"{counts[severity]} {severity}{'' if counts[severity] == 1 else 's'}"
        for severity in (Severity.ERROR, Severity.DOUBT)
        if counts[severity]
    ]
    if not words:
        return []
    return [f"{' and '.join(words)} in the data: see the sheet {FINDINGS}."]


def _doubts(results: Iterable[StationResult]) -> list[str]:
    """Of each station in range what its sentence says against it."""
    said = [
        k.clean(k.one_line(f"In range, but look: {r.station.name}. {r.judgement.doubts}"))
        for r in results
        if r.verdict is Verdict.IN_RANGE and r.judgement.doubts
    ]
    rest = len(said) - MOST
    more = [f"{rest:,} more in range with such a word, all on Station review."] if rest > 0 else []
    return said[:MOST] + more
