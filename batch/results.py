"""What a run ends with: each station judged, and the book. All that is shown comes from here."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING

from siltbook.batch.model import History, Judgement, Reading, Station, Verdict
from siltbook.batch.numbers.bill import FarmBill
from siltbook.batch.numbers.outlook import Outlook
from siltbook.checks.findings import Finding
from siltbook.templates.book import Book

if TYPE_CHECKING:
    from siltbook.batch.remarks import Remark
    from siltbook.batch.typed.boxes import Box


@dataclass(frozen=True)
class StationResult:
    """One station, judged; everything that the result sheets show."""

    history: History
    judgement: Judgement
    latest: Reading | None  # latest usable reading
    days_over: int | None  # see `assess.days_over`; None where no episode is open
    last_flush: dt.date | None
    last_cleaning: dt.date | None
    outlook: Outlook | None = None
    box: Box | None = None  # what somebody filled in for it on the sheet Actions
    days_at_least: bool = False  # the days over the limit may be more
    remarks: tuple[Remark, ...] = ()  # of whichever sheet, in the order of `weighed`
    noted: tuple[str, ...] = ()  # the same, a line each
    heed: int = 0  # how many of `remarks` speak of what can hurt or hinder, and may hold still
    earlier: tuple[Remark, ...] = ()  # of before its last work, and not among them

    @property
    def days_shown(self) -> float | str | None:
        """Days over the limit for a cell: a number, or words where it may be more."""
        if self.days_over is None:
            return None
        # The day on which it was read over counts, where nothing more is known.
        return f"at least {max(self.days_over, 1)}" if self.days_at_least else float(self.days_over)

    @property
    def station(self) -> Station:
        """The station's register row."""
        return self.history.station

    @property
    def verdict(self) -> Verdict:
        """The station's verdict."""
        return self.judgement.verdict


@dataclass(frozen=True)
class Assessment:
    """One book, judged.

    `stations` most urgent verdict first; among equals the one that is expected at its limit
    first, then those without a forecast by share of limit, then by name.
    """

    book: Book
    as_of: dt.date | None
    stations: tuple[StationResult, ...]
    findings: tuple[Finding, ...]
    bill: FarmBill | None = None  # what dirt cost the farm
    homeless: tuple[Remark, ...] = ()  # remarks in rows of no station of the register
