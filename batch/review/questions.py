"""The sheets Data questions and About this pack: what is open on data, and what was taken."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from siltbook.batch.cautions import touched_for
from siltbook.batch.review.farm import FarmMonth, why_outside
from siltbook.batch.review.page import (
    PACK_MARK,
    Pack,
    cautions_below,
    farm_column,
    finish,
    heading,
    note,
)
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.checks.findings import CATALOGUE, Finding, Severity
from siltbook.templates import look, safety

QUESTIONS, ABOUT = "Data questions", "About this pack"
MOST_NOTES = 20  # on the last sheet; the terminal has them all
MOST_CELLS = 12  # named in one line
# A look back at a month always leaves later entries out: that is no question.
_NO_QUESTION = ("date-after-review",)
BOOK, FILE, PRINT = "Book", "File", "Fingerprint (SHA-256)"
_SAID = (
    "Siltbook reads what people wrote down and does not replace judgement at the station. "
    + safety.MAKER_FIRST,
    "Every figure names the rows of the book that it rests on; the row numbers are those of the "
    "book with the fingerprint below.",
    "After the meeting: fill in Action, Who and By when on the sheet Agenda, save, and run "
    "'siltbook agree PACK BOOK' for each farm. Rows that the book already has are not added again.",
)  # fmt: skip


@dataclass(frozen=True)
class Question:
    """All findings of one rule in one farm's book."""

    farm: FarmMonth
    rule: str
    findings: tuple[Finding, ...]

    @property
    def severity(self) -> Severity:
        """The rule's severity."""
        return self.findings[0].severity


def questions(pack: Pack) -> tuple[Question, ...]:
    """Findings by rule and farm, worst first."""
    found = []
    for farm in pack.farms:
        by_rule: dict[str, list[Finding]] = defaultdict(list)
        for finding in farm.now.findings:
            if finding.rule not in _NO_QUESTION:
                by_rule[finding.rule].append(finding)
        found += [Question(farm, rule, tuple(own)) for rule, own in by_rule.items()]
    order = tuple(Severity)
    return tuple(sorted(found, key=lambda q: (order.index(q.severity), -len(q.findings))))


def write_questions(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """One line per rule and farm, with counts and cells."""
    heading(kit, sheet, pack, QUESTIONS)
    asked = questions(pack)
    text = "What is wrong or doubtful in the books, by rule; nothing was changed. "
    text += f"As far as {pack.shown.day(pack.month.last)}. "
    text += "" if asked else "Nothing is open."
    note(kit, sheet, 2, _QUESTIONS, text)
    last = tables.short(kit, sheet, 3, _QUESTIONS, asked)
    touches = touched_for(one for question in asked for one in question.findings)
    last = cautions_below(kit, sheet, last, _QUESTIONS, touches)
    finish(kit, sheet, 3, last, _QUESTIONS.widths)


def _some(texts: Sequence[str], most: int) -> str:
    more = len(texts) - most
    return ", ".join(texts[:most]) + (f" and {more} more" if more > 0 else "")


_QUESTIONS: Table[Question] = Table(
    QUESTIONS,
    (
        Column("severity", "How bad", Kind.TEXT, 11, lambda q: look.SEVERITIES[q.severity]),
        farm_column(lambda q: q.farm),
        Column("question", "Question", Kind.TEXT, 30, lambda q: CATALOGUE[q.rule].title,
               style="wrap"),
        Column("count", "Count", Kind.COUNT, 8, lambda q: len(q.findings)),
        Column("do", "What to do", Kind.TEXT, 38, lambda q: CATALOGUE[q.rule].do, style="wrap"),
        Column("stations", "Stations", Kind.NAME, 20,
               lambda q: _some(sorted({f.station for f in q.findings if f.station}), 6),
               style="wrap"),
        Column("cells", "Cells of the book", Kind.TEXT, 40,
               lambda q: _some([f"{f.sheet}!{f.cell}" if f.cell else f.sheet for f in q.findings],
                               MOST_CELLS), style="rows"),
    ),
)  # fmt: skip


class BookUsed(NamedTuple):
    """A book of the pack, what it was used for, and its number where the review rests on it."""

    farm: FarmMonth
    used: str
    number: str


_ABOUT: Table[BookUsed] = Table(
    ABOUT,
    (
        Column("book", BOOK, Kind.TEXT, 8, lambda b: b.number),
        farm_column(lambda b: b.farm, 28),
        Column("file", FILE, Kind.NAME, 26, lambda b: b.farm.file, style="wrap"),
        Column("season", "Season", Kind.NAME, 12, lambda b: b.farm.book.settings.season,
               style="wrap"),
        Column("stations", "Stations", Kind.COUNT, 9, lambda b: len(b.farm.now.stations)),
        Column("used", "Used for", Kind.TEXT, 25, lambda b: b.used, style="wrap"),
        Column("print", PRINT, Kind.TEXT, 60, lambda b: b.farm.fingerprint, style="rows"),
    ),
)  # fmt: skip


def write_about(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """What was taken, and the mark by which `siltbook agree` knows a pack."""
    heading(kit, sheet, pack, ABOUT)
    mark = f"{PACK_MARK} {pack.version} · {pack.month} · as of {kit.head}"
    sheet.write_string(1, 0, mark, kit.format("mark"))
    row = 2
    for said in (*_SAID, *map(k.one_line, pack.notes[:MOST_NOTES])):
        note(kit, sheet, row, _ABOUT, said)
        row += 1
    last = tables.short(kit, sheet, row, _ABOUT, _books(pack))
    finish(kit, sheet, row, last, _ABOUT.widths)


def _books(pack: Pack) -> Iterator[BookUsed]:
    for farm in pack.farms:
        yield BookUsed(farm, "the review", str(farm.number))
    for farm in pack.others:
        why = why_outside(farm.book, pack.month)
        yield BookUsed(farm, f"the comparison of fouling only: {why}", "")
