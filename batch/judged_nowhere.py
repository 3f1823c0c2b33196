"""What the book holds and no station's judgement rests on: said wherever nothing is to be done."""

from __future__ import annotations

from siltbook.batch.results import Assessment

MOST = 12  # places that are named; Findings has all


def judged_nowhere(assessment: Assessment) -> list[str]:
    """A line each for rows under a name that no register has, and for sheets that were not read."""
    book, found = assessment.book, assessment.findings
    lists = (book.readings.sheet, book.work.sheet)
    rows = [
        f"{finding.sheet} {finding.cell}, {finding.read}"
        for finding in found
        if finding.rule == "station-unknown" and finding.sheet in lists
    ]
    sheets = [f"{f.sheet}, {f.read}" for f in found if f.rule == "sheet-not-read"]
    return [
        f"Judged nowhere, {why}: {'; '.join(places[:MOST])}{_rest(places)}."
        for why, places in (
            ("under a name that the register lacks", rows), ("since it was not read", sheets)
        )
        if places
    ]  # fmt: skip


def _rest(places: list[str]) -> str:
    return f"; and {len(places) - MOST} more" if len(places) > MOST else ""
