"""The third question: the result sheets that a book carries against those it gives today."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import replace
from heapq import nsmallest

from siltbook import __version__
from siltbook.batch.audit.carried import Carried, carried
from siltbook.batch.audit.causes import Causes, causes, unlike
from siltbook.batch.audit.model import Place, RuleResult, State, looked
from siltbook.batch.audit.rules import RULES
from siltbook.batch.audit.unmarked import marked_again
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.job import review_bytes, review_judged
from siltbook.batch.reading.cells import Value
from siltbook.batch.results import Assessment
from siltbook.batch.typed.mark import Mark
from siltbook.templates.book import Book, column_letters
from siltbook.templates.shown import Shown

_UNMARKED = (
    "the line in {sheet}!A2 was removed or changed, by which Siltbook knows its own sheet; the next"
    " run takes {sheet} for a sheet of your own"
)
MOST_NAMED = 1_000  # cells of one sheet that differ and are named; the others are counted


def compare(
    assessment: Assessment, data: bytes, witnesses: Sequence[tuple[str, bytes]] = ()
) -> list[RuleResult]:
    """The five rules on the result sheets that the book carries, which is judged."""
    book, as_of = assessment.book, assessment.as_of
    codes = ("same-version", "same-date", "same-inputs", "same-numbers", "same-formulas")
    stored = carried(data, book.path)
    mark = stored.mark
    if mark is None:
        said = "The book carries no result sheets; there is nothing to compare."
        if stored.unreadable:
            said = f"{broken(stored.unreadable)} There is nothing to compare."
        return [RuleResult(RULES[code], State.CANNOT, said) for code in codes]
    sheet = next(iter(stored.sheets))
    data, unmarked = marked_again(data, stored, book)
    if unmarked:  # judged with the marks back: the sheets keep their names
        stored = carried(data, book.path)
    again = carried(_made_again(assessment, data, mark), book.path)
    ours = mark.version == __version__
    why = causes(stored, again, book, data, mark, witnesses) if ours else Causes(known=False)
    return [
        _version(mark, sheet),
        _date(mark, sheet, as_of, book.settings.shown),
        _inputs(stored, book, why),
        _numbers(stored, again, mark, why, unmarked),
        _formulas(why, ours=ours),
    ]


def _made_again(assessment: Assessment, data: bytes, mark: Mark) -> bytes:
    """The book with the result sheets that it gives today, as of the day of those it carries."""
    if mark.as_of == assessment.as_of:
        return review_judged(data, assessment, mark.book_name).package
    return review_bytes(data, assessment.book.path, mark.book_name, mark.as_of).package


def _version(mark: Mark, sheet: str) -> RuleResult:
    """Another version is for the record: what counts is whether it gives other numbers."""
    same = mark.version == __version__
    said = f"Written by version {mark.version}; this is {__version__}."
    place = Place(sheet, "A2", said, holds=True)
    return RuleResult(RULES["same-version"], State.QUIET if same else State.CANNOT, said,
                      places=(place,))  # fmt: skip


def _date(mark: Mark, sheet: str, as_of: dt.date | None, shown: Shown) -> RuleResult:
    stored, asked = (shown.on(day, "no date") for day in (mark.as_of, as_of))
    same = f"The result sheets stand as of {stored}, as the book does."
    said = f"The result sheets stand as of {stored}; the audit as of {asked}"
    places = [] if mark.as_of == as_of else [Place(sheet, "A2", said)]
    return looked(RULES["same-date"], places, same)


def _inputs(stored: Carried, book: Book, why: Causes) -> RuleResult:
    now = fingerprint(book)
    rule = RULES["same-inputs"]
    if not any(mark.inputs for mark in stored.marks.values()):
        return RuleResult(rule, State.CANNOT, "The result sheets carry no fingerprint of inputs.")
    places = [
        Place(sheet, "A2", f"{sheet} was made from inputs {mark.inputs}; the book's are {now}")
        for sheet, mark in stored.marks.items()
        if mark.inputs and mark.inputs != now
    ]
    places = [*why.places, *places] if places else places
    return looked(rule, places, f"The inputs are those of the result sheets ({now}).",
                  many="places")  # fmt: skip


def _numbers(
    stored: Carried, again: Carried, mark: Mark, why: Causes, unmarked: Sequence[str] = ()
) -> RuleResult:
    rule = RULES["same-numbers"]
    places, differ = differences(stored, again)
    places = [*(Place(n, "A2", _UNMARKED.format(sheet=n)) for n in unmarked), *places]
    differ += len(unmarked)
    count = stored.cells
    if mark.version != __version__ and places:
        said = f"{differ:,} of {count:,} cells differ; they come from another version."
        quiet = tuple(replace(place, holds=True) for place in places)
        return RuleResult(rule, State.CANNOT, said, places=quiet)
    left = stored.uncalculated
    if left and not places:
        said = (
            f"{left:,} of {count:,} cells hold formulas that the program which saved the book did"
            " not calculate, so they cannot be compared; the others are as this book gives them"
            " today. Open it in a spreadsheet program, save it and audit again."
        )
        return RuleResult(rule, State.CANNOT, said)
    result = looked(rule, places, f"All {count:,} cells are as this book gives them today.",
                    many="cells differ", count=differ)  # fmt: skip
    if (why.said or unmarked) and places:
        said = sentence([*_gone(places), *why.said])
        first = "" if unmarked else f" The first: {places[0].said}"
        result = replace(result, said=f"{said}{first}")
    return replace(result, kept=count - differ, of=count)


def sentence(parts: Iterable[str]) -> str:
    """Causes as one sentence."""
    said = "; ".join(parts)
    return f"{said[:1].upper()}{said[1:]}."


def _gone(places: Sequence[Place]) -> list[str]:
    return [place.said for place in places if not place.cell or place.cell == "A2"]


def _formulas(why: Causes, *, ours: bool) -> RuleResult:
    """Formulas that are not as they were written, also where their value was kept."""
    rule = RULES["same-formulas"]
    if not ours:
        said = "The result sheets are of another version; formulas are not compared."
        return RuleResult(rule, State.CANNOT, said)
    if not why.known:
        said = "The inputs changed, and it cannot be told which formulas follow from it."
        return RuleResult(rule, State.CANNOT, said)
    found = why.formulas
    places = [
        Place(one.sheet, f"{column_letters(one.place[1])}{one.place[0]}", one.said)
        for one in found[:MOST_NAMED]
    ]
    return looked(rule, places, "Every formula is as it was written.", many="formulas",
                  count=len(found))  # fmt: skip


def broken(sheets: Sequence[str]) -> str:
    """What to say of result sheets that cannot be read, and what to do."""
    names = ", ".join(sheets)
    which = f"The result sheet {names} is" if len(sheets) == 1 else f"The result sheets {names} are"
    return f"{which} damaged and cannot be read: run 'siltbook run' again to replace them."


def differences(stored: Carried, again: Carried) -> tuple[list[Place], int]:
    """Cells of the stored sheets that are not what the book gives today, and how many there are.

    Of each sheet the first MOST_NAMED are named.
    """
    found, count = [], 0
    for name, new in again.sheets.items():
        old = stored.sheets.get(name)
        if old is None:
            gone = "is damaged and cannot be read" if name in stored.unreadable else "is missing"
            found.append(Place(name, "", f"{name} {gone}; run 'siltbook run' again"))
            count += 1
            continue
        cells = unlike(old, new)
        count += sum(map(len, cells.values()))
        first = ((r, c) for c, rows in cells.items() for r in nsmallest(MOST_NAMED, rows))
        for row, column in nsmallest(MOST_NAMED, first):
            cell = f"{column_letters(column)}{row}"
            before, after = (grid.get(column, {}).get(row) for grid in (old, new))
            said = f"{name}!{cell} holds {_shown(before)}; recomputed {_shown(after)}"
            found.append(Place(name, cell, said))
    return found, count


def _shown(value: Value | None) -> str:
    if value is None:
        return "nothing"
    return f'"{value[:60]}"' if isinstance(value, str) else f"{value:.12g}"
