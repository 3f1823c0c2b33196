"""The line by which a result sheet says who wrote it, for which book, from which inputs."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass

from siltbook.batch.reading.parsing import FIRST_YEAR, LAST_YEAR
from siltbook.templates.contract import RESULT_MARK

_MARK = re.compile(
    rf"{re.escape(RESULT_MARK)} (?P<version>\S+) · (?P<book>.*) · as of "
    r"(?:(?P<day>\d{4}-\d\d-\d\d)"
    r"|(?P<one>\d\d)/(?P<two>\d\d)/(?P<year>\d{4})"
    r" \(dates are (?P<order>day/month|month/day)/year\)|no date \([^)]*\))"
    r"(?: · inputs (?P<inputs>[0-9a-f]+))?(?: · typed (?P<typed>[0-9a-f]+))?"
    r" · replaced at every run\s*"
)


@dataclass(frozen=True)
class Mark:
    """What a result sheet says of itself; `inputs` and `typed` are fingerprints, '' without."""

    version: str
    book_name: str
    as_of: dt.date | None
    inputs: str
    typed: str = ""


def read_mark(text: object) -> Mark | None:
    """A mark line taken apart; None for any other text. A day that cannot be counts as none."""
    found = _MARK.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        return None
    day, prints = _day(found), (found["inputs"] or "", found["typed"] or "")
    return Mark(found["version"], found["book"], day, *prints)


def _day(found: re.Match[str]) -> dt.date | None:
    """The day of a mark; None for one that no book can have, as an edited mark may say."""
    day, month = found["one"], found["two"]
    if found["order"] == "month/day":
        day, month = month, day
    try:
        day = dt.date.fromisoformat(found["day"] or f"{found['year']}-{month}-{day}")
    except ValueError:
        return None
    return day if FIRST_YEAR <= day.year <= LAST_YEAR else None
