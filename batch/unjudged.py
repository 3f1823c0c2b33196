"""What is said beside the stations that need nothing: what no judgement rests on, and who rests."""

from __future__ import annotations

from collections.abc import Iterable

from siltbook.batch.model import CALM, Verdict
from siltbook.batch.remarks import BRIEF, clipped, on_review
from siltbook.batch.results import Assessment, StationResult
from siltbook.templates.look import VERDICTS

MOST = 12  # places that are named; Findings has all


def judged_nowhere(assessment: Assessment) -> list[str]:
    """A line each for rows under a name that no register has, and sheets and columns not read."""
    book, found = assessment.book, assessment.findings
    lists = (book.readings.sheet, book.work.sheet)
    beside = (book.gauges.sheet, book.carried.sheet)
    rows = [
        f"{finding.sheet} {finding.cell}, {finding.read}"
        for finding in found
        if finding.rule == "station-unknown" and finding.sheet in (*lists, *beside)
    ]
    sheets = [f"{f.sheet}, {f.read}" for f in found if f.rule == "sheet-not-read"]
    columns = [
        f"{f.sheet} {f.cell}, {f.read}"
        for f in found
        if f.rule == "column-twice" and f.sheet in lists
    ]
    return [
        f"Judged nowhere, {why}: {'; '.join(places[:MOST])}{_rest(places)}."
        for why, places in (
            ("under a name that the register lacks", rows), ("since it was not read", sheets),
            ("under a header that stands twice", columns),
        )
        if places
    ]  # fmt: skip


def unused(assessment: Assessment) -> list[str]:
    """The same, and a line each on what is dated after the day of the judgement, and on what was
    noted in rows of no station."""
    return [*judged_nowhere(assessment), *_later(assessment), *_homeless(assessment)]


def _homeless(assessment: Assessment) -> list[str]:
    said = [
        f"{remark.sheet} row {remark.row}{f', {clipped(remark.at, BRIEF)}' if remark.at else ''}:"
        f' "{clipped(remark.words, BRIEF)}"'
        for remark in assessment.homeless
    ]
    if not said:
        return []
    return [f"Noted in rows of no station of the register: {'; '.join(said[:MOST])}{_rest(said)}."]


def _later(assessment: Assessment) -> list[str]:
    book, shown = assessment.book, assessment.book.settings.shown
    later = [
        f"{finding.sheet}, {finding.read}"
        for finding in assessment.findings
        if finding.rule == "date-after-review"
        and finding.sheet in (book.readings.sheet, book.work.sheet)
    ]
    if not later:
        return []
    return [
        f"Not used, since all is judged as of {shown.as_of(assessment.as_of, '')}:"
        f" {'; '.join(later)}."
    ]


def resting_over(results: Iterable[StationResult]) -> list[str]:
    """A line on the stations out of service whose episode over the limit is open."""
    names = [
        result.station.name
        for result in results
        if result.verdict is Verdict.RESTING and result.days_over is not None
    ]
    if not names:
        return []
    return [
        f"Not in service, and over the limit when last read: {', '.join(names[:MOST])}"
        f"{_rest(names)}. See to it before it is put into service, or correct the register."
    ]


def noted_calm(results: Iterable[StationResult]) -> list[str]:
    """Of each station that needs nothing what people noted of valve, gauge, leak or danger."""
    said = [
        f"{VERDICTS[r.verdict].shown}, but noted at {r.station.name}: {line}"
        for r in results
        if r.verdict in CALM and r.heed
        for line in on_review(r, 1)
    ]
    rest = len(said) - MOST
    more = [f"{rest:,} more with such a remark, all on Station review."] if rest > 0 else []
    return said[:MOST] + more


def _rest(places: list[str]) -> str:
    return f"; and {len(places) - MOST} more" if len(places) > MOST else ""
