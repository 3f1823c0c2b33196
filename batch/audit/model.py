"""What the audit hands on: rules, their results and the places that these rest on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from siltbook.batch.audit.agreed_seen import Outcome
    from siltbook.batch.audit.sensitivity import Sensitivity
    from siltbook.batch.merging.rows import Origin
    from siltbook.batch.results import Assessment


class Question(StrEnum):
    """The auditor's three questions, in order."""

    TRUST = "Can the data be trusted?"
    PROCEDURE = "Was the procedure followed?"
    VERDICT = "Would I reach the same verdict?"


class State(StrEnum):
    """What came of a rule; the order is the order on the summary, what to look at first."""

    LOOK = "look"
    QUIET = "quiet"
    CANNOT = "cannot tell"


class Taken(StrEnum):
    """What became of a step that was asked for."""

    IN_TIME = "in time"
    LATE = "late"
    NOT_TAKEN = "not taken"
    CANNOT = "cannot be told"


@dataclass(frozen=True)
class AuditRule:
    """One rule: what it asks, what it needs from the book, and what may innocently explain it."""

    code: str
    question: Question
    title: str
    needs: str
    innocent: str


@dataclass(frozen=True)
class Place:
    """One piece of evidence at one cell. `p` is the chance of it where the rule has one.

    `taken` and `person` belong to steps of the procedure: what became of it, and who did it or,
    where nobody did, who logged the entry that asked for it. `days`: how long it took or waits.
    """

    sheet: str
    cell: str
    said: str
    station: str = ""
    p: float | None = None
    holds: bool = False  # for the record: kept, or counted; not a thing to look at
    taken: Taken | None = None
    person: str = ""
    days: int = 0


@dataclass(frozen=True)
class RuleResult:
    """One rule on one book. `kept` of `of` where the rule counts; `p` the smallest, corrected.

    Of those not kept, `late` were done late and `untold` cannot be told.
    """

    rule: AuditRule
    state: State
    said: str
    p: float | None = None
    kept: int | None = None
    of: int | None = None
    places: tuple[Place, ...] = ()
    late: int = 0
    untold: int = 0

    @property
    def missing(self) -> int:
        """How many were not done at all."""
        return (self.of or 0) - (self.kept or 0) - self.late - self.untold

    @property
    def share(self) -> float | None:
        """The share kept; None where nothing was counted."""
        return self.kept / self.of if self.of and self.kept is not None else None


@dataclass(frozen=True)
class Power:
    """In how many of how many cases a fault would be found, planted in this book's readings."""

    fault: str
    found: int
    of: int


def looked(
    rule: AuditRule,
    places: list[Place],
    quiet: str,
    *,
    p: float | None = None,
    many: str = "places",
    count: int | None = None,
) -> RuleResult:
    """A result from its evidence: something to look at where there is any.

    `count` says how many there are where only the first are among `places`.
    """
    found = [place for place in places if not place.holds]
    if not found:
        return RuleResult(rule, State.QUIET, quiet, p, places=tuple(places))
    stations = sorted({place.station for place in found if place.station})
    more = f" and {len(stations) - 4} more" if len(stations) > 4 else ""
    names = ", ".join(stations[:4]) + more
    first = found[0].said
    said = first if len(found) == 1 else f"{count or len(found):,} {many}; the first: {first}"
    where = f" ({names})" if names and not first.startswith(stations[0]) else ""
    return RuleResult(rule, State.LOOK, said + where, p, places=tuple(places))


_RANK = {state: place for place, state in enumerate(State)}


@dataclass(frozen=True)
class Audit:
    """Everything that the audit found in one book."""

    assessment: Assessment
    results: tuple[RuleResult, ...]
    sensitivity: tuple[Sensitivity, ...]
    origins: tuple[Origin, ...] = ()  # rows and cells that a merge brought in
    power: tuple[Power, ...] = ()  # what the rules on the data could have seen
    agreed: tuple[Outcome, ...] = ()  # agreed actions of all files, with what came of them
    beside: tuple[str, ...] = ()  # the files that were given as witnesses

    def of(self, question: Question) -> list[RuleResult]:
        """One question's results, what to look at first."""
        own = [r for r in self.results if r.rule.question is question]
        return sorted(own, key=_urgency)

    @property
    def looks(self) -> int:
        """How many rules found something to look at."""
        return sum(r.state is State.LOOK for r in self.results)


def _urgency(result: RuleResult) -> tuple[int, float, float]:
    share = result.share
    return (
        _RANK[result.state],
        1.0 if result.p is None else result.p,
        1.0 if share is None else share,
    )
