"""Which cautions go with what is shown: of judged stations, of findings, of both."""

from __future__ import annotations

from collections.abc import Iterable

from siltbook.batch.ladder.next_steps import touches_of
from siltbook.batch.results import StationResult
from siltbook.checks.findings import CATALOGUE, Finding
from siltbook.templates.safety import Touch, touched_by


def touched_at(results: Iterable[StationResult]) -> frozenset[Touch]:
    """What the steps of these stations touch, the verdicts under 'also' and the notes included."""
    return frozenset(touch for result in results for touch in _touched(result))


def touched_for(findings: Iterable[Finding]) -> frozenset[Touch]:
    """What people would touch who do what these findings ask for."""
    rules = {finding.rule for finding in findings}
    return frozenset(touch for rule in rules for touch in CATALOGUE[rule].touches)


def _touched(result: StationResult) -> frozenset[Touch]:
    judgement = result.judgement
    found = touched_by(judgement.steps)
    for verdict in judgement.also:
        found |= touches_of(verdict)
    if result.outlook is not None and result.outlook.effectiveness.notes:
        found |= {Touch.OPENS_FILTER}  # each of them asks for a look at the element
    return found
