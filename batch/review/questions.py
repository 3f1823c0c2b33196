"""The sheets Data questions and About this pack: what is open on data, and what was taken."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from siltbook.batch.cautions import touched_for
from siltbook.batch.review.farm import FarmMonth, why_outside
from siltbook.batch.review.page import (
    PACK_MARK,
    Column,
    Pack,
    cautions_below,
    finish,
    heading,
    note,
    table,
)
from siltbook.batch.sheets import kit as k
from siltbook.checks.findings import CATALOGUE, Finding, Severity
from siltbook.templates import look, safety

QUESTIONS, ABOUT = "Data questions", "About this pack"
MOST_NOTES = 20  # on the last sheet; the terminal has them all
MOST_CELLS = 12  # named in one line
# A look back at a month always leaves later entries out: that is no question.
_NO_QUESTION = ("date-after-review",)
_QUESTIONS = (
    Column("How bad", 11),
    Column("Farm", 20, "wrap"),
    Column("Question", 34, "wrap"),
    Column("Count", 8, "whole"),
    Column("What to do", 44, "wrap"),
    Column("Stations", 24, "wrap"),
    Column("Cells of the book", 48, "rows"),
)
BOOK, FILE, PRINT = "Book", "File", "Fingerprint (SHA-256)"
_ABOUT = (
    Column(BOOK, 8, "text"),
    Column("Farm", 28, "wrap"),
    Column(FILE, 30, "wrap"),
    Column("Season", 12, "wrap"),
    Column("Stations", 9, "whole"),
    Column("Used for", 34, "wrap"),
    Column(PRINT, 64, "rows"),
)
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
    text += f"As far as {pack.month.last}. "
    text += "" if asked else "Nothing is open."
    note(kit, sheet, 2, _QUESTIONS, text)
    last = table(kit, sheet, 3, _QUESTIONS, (_question(q) for q in asked))
    touches = touched_for(one for question in asked for one in question.findings)
    last = cautions_below(kit, sheet, last, _QUESTIONS, touches)
    finish(kit, sheet, 3, last, len(_QUESTIONS))


def _question(asked: Question) -> tuple[object, ...]:
    rule = CATALOGUE[asked.rule]
    stations = sorted({f.station for f in asked.findings if f.station})
    cells = [f"{f.sheet}!{f.cell}" if f.cell else f.sheet for f in asked.findings]
    return (
        look.SEVERITIES[asked.severity], k.one_line(asked.farm.farm), rule.title,
        len(asked.findings), rule.do, k.one_line(_some(stations, 6)), _some(cells, MOST_CELLS),
    )  # fmt: skip


def _some(texts: Sequence[str], most: int) -> str:
    more = len(texts) - most
    return ", ".join(texts[:most]) + (f" and {more} more" if more > 0 else "")


def write_about(kit: k.Kit, sheet: Any, pack: Pack) -> None:
    """What was taken, and the mark by which `siltbook agree` knows a pack."""
    heading(kit, sheet, pack, ABOUT)
    mark = f"{PACK_MARK} {pack.version} · {pack.month} · as of {pack.month.last}"
    sheet.write_string(1, 0, mark, kit.format("mark"))
    row = 2
    for said in (*_SAID, *map(k.one_line, pack.notes[:MOST_NOTES])):
        note(kit, sheet, row, _ABOUT, said)
        row += 1
    last = table(kit, sheet, row, _ABOUT, _books(pack))
    finish(kit, sheet, row, last, len(_ABOUT), tall=1)


def _books(pack: Pack) -> Iterator[tuple[object, ...]]:
    for farm in pack.farms:
        yield _book(farm, "the review", str(farm.number))
    for farm in pack.others:
        why = why_outside(farm.book, pack.month)
        yield _book(farm, f"the comparison of fouling only: {why}", "")


def _book(farm: FarmMonth, used: str, number: str) -> tuple[object, ...]:
    return (
        number, k.one_line(farm.farm), k.one_line(farm.file),
        k.one_line(farm.book.settings.season), len(farm.now.stations), used, farm.fingerprint,
    )  # fmt: skip
