"""Which cautions go with what is shown: of judged stations, of findings, of both."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from siltbook.batch.ladder.next_steps import touches_of
from siltbook.batch.remark_words import unsafe
from siltbook.batch.results import StationResult
from siltbook.checks.findings import CATALOGUE, Finding
from siltbook.templates.safety import MADE_SAFE_FIRST, Task, Touch, touched_by

# Work that opens the filter, or flushes it.
_OPENS = frozenset({
    Task.FLUSH, Task.HAND_CLEANING, Task.INSPECTION, Task.SOLENOID, Task.CONTROLLER, Task.HELP,
})  # fmt: skip


def touched_at(results: Iterable[StationResult]) -> frozenset[Touch]:
    """What the steps of these stations touch, the verdicts under 'also' and the notes included."""
    return frozenset(touch for result in results for touch in _touched(result))


def made_safe_first(result: StationResult) -> StationResult:
    """The result, with a caution before its steps where these open the filter or flush it and
    people noted, since work that may have mended it, what stands against that."""
    steps = result.judgement.steps
    noted = [remark.words for remark in result.remarks[: result.heed]]
    noted.append(str(result.station.registered("remark") or ""))
    if not any(step.task in _OPENS for step in steps) or not any(map(unsafe, noted)):
        return result
    judgement = replace(result.judgement, steps=(MADE_SAFE_FIRST, *steps))
    return replace(result, judgement=judgement)


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
