"""The two rules on agreed actions: done by their day, and the same in every file given."""

from __future__ import annotations

from collections.abc import Sequence

from siltbook.batch.audit.agreed_seen import Outcome
from siltbook.batch.audit.agreements import Source
from siltbook.batch.audit.model import Place, RuleResult, State, Taken, looked
from siltbook.batch.audit.procedure import counted
from siltbook.batch.audit.rules import RULES
from siltbook.batch.review.agreed import Effect
from siltbook.templates.book import Book


def agreed_done(book: Book, found: Sequence[Outcome]) -> RuleResult:
    """Agreed actions that were due: done by their day as the log shows, later, or not."""
    due = [one for one in found if one.taken is not None]
    if not due:
        return RuleResult(RULES["agreed-done"], State.CANNOT, "Nothing agreed was due.", None, 0, 0)
    places = [_place(book, one, _said(one, book), holds=one.taken is Taken.IN_TIME) for one in due]
    places.sort(key=lambda place: (place.holds, place.taken is Taken.CANNOT, -place.days))
    return counted(RULES["agreed-done"], places)


def agreed_kept(book: Book, found: Sequence[Outcome], others: Sequence[Source]) -> RuleResult:
    """Agreed actions of the other files: those that later files lack or have otherwise."""
    rule = RULES["witness-agreed"]
    many = sum(len(source.sightings) for source in others)
    if not many:
        said = "No other file that was given holds an agreed action."
        return RuleResult(rule, State.CANNOT, said, None, 0, 0)
    places = [
        _place(book, one, f"{named(one, book)}: {said}", holds=False)
        for one in found
        for said in one.agreement.unlike
    ]
    shared = [one for one in found if any(source.name for source, _ in one.agreement.seen)]
    names = ", ".join(source.name for source in others if source.sightings)
    quiet = f"All {len(shared)} agreed actions of {names} stand in the book, with the same dates"
    quiet = f"{quiet} and people."
    if len(shared) == 1:
        quiet = f"The agreed action of {names} stands in the book, with the same date and person."
    return looked(rule, places, quiet, many="agreed actions are not the same")


def named(one: Outcome, book: Book) -> str:
    """Station, action, and who by when, as one clause."""
    last, due = one.agreement.last, book.settings.shown.on(one.agreement.last.due)
    whose = [last.who, f"due {due}" if due else ""]
    told = ", ".join(text for text in whose if text)
    return f"{last.station}, {last.action}" + (f" ({told})" if told else "")


def _said(one: Outcome, book: Book) -> str:
    said = f"{named(one, book)}: {one.state}; {one.said}"
    return said if one.shows is Effect.NOT_SHOWN else f"{said}; {one.effect}"


def _place(book: Book, one: Outcome, said: str, *, holds: bool) -> Place:
    """The row of the book; of an action that the book lacks, its sheet alone."""
    last = one.agreement.last
    cell = last.cell.rpartition("!")[2] if one.agreement.in_book and last.listed else ""
    sheet = book.agreed.sheet
    return Place(sheet, cell, said, last.station, None, holds, one.taken, last.who, one.late)
