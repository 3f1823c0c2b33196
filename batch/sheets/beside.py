"""What stands on Actions beside the stations that need nothing, and speaks against it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.sheets import kit as k
from siltbook.batch.unjudged import noted_calm, resting_over, unused
from siltbook.checks.findings import Severity
from siltbook.templates.contract import RESULT_SHEETS

MOST = 12  # stations in range of which a doubt is said here; Station review has all
NOTHING = "No station needs anything."
AS_FAR = "No station of the register needs anything, as far as the data tell."
FINDINGS = next(name for name in RESULT_SHEETS if name == "Findings")


def nothing_to_do(assessment: Assessment) -> str:
    """The line where no station is listed; another one where something could not be used."""
    wrong = any(finding.severity is Severity.ERROR for finding in assessment.findings)
    noted = any(result.heed for result in assessment.stations)
    return AS_FAR if wrong or noted or unused(assessment) else NOTHING


def beside_lines(assessment: Assessment) -> list[str]:
    """A line each: what is judged nowhere, how many findings, what is doubtful in range."""
    found = (*unused(assessment), *resting_over(assessment.stations))
    results = assessment.stations
    noted = [k.clean(k.one_line(line)) for line in noted_calm(results)]
    return [*map(k.clean, found), *_counted(assessment), *_doubts(results), *noted]


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
