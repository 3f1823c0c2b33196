"""The audit on two pages: one that the client reads, one for the auditor's own words and name."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from siltbook.batch import letters
from siltbook.batch.audit.agreed_seen import PersonCount, by_person
from siltbook.batch.audit.model import Audit, Question, RuleResult, State, Taken
from siltbook.batch.audit.report import answer
from siltbook.batch.cautions import touched_at
from siltbook.batch.fingerprint import digest, fingerprint
from siltbook.batch.paper import page
from siltbook.batch.paper.shown import BLANK

WORST = 3  # places named under each answer
# Characters of one place, of an answer, and of what could not be asked: the first that fit a page.
_ROOM = ((400, 1200, 500), (260, 1000, 350), (180, 800, 240), (130, 600, 160), (90, 400, 100))
_LINES = (
    ("What was asked, and of whom", 4), ("What was seen at the stations", 3),
    ("What the client says to it", 2), ("My conclusion", 4),
)  # fmt: skip
LIMITS = (
    "The audit judges what the book holds, as it was handed over. What was never entered, or was"
    " taken out before, it cannot see without an earlier copy.",
    "A rule that found nothing says that this rule found nothing, and no more.",
    "A small chance is a reason to ask, never an answer: each finding has an innocent explanation,"
    " which is to be asked for first.",
)


def audit_paper(audit: Audit, book: str, data: bytes, version: str, size: str = "A4") -> bytes:
    """The two pages as PDF bytes. `data` is the book as it was handed over."""
    from reportlab.platypus import PageBreak

    width = page.inner_width(size, wide=False)
    farm = audit.assessment.book.settings.farm or book
    foot = f"{book} · as of {_as_of(audit)} · audited by Siltbook {version}"

    def made(story: list[Any]) -> bytes:
        return page.made(story, f"Audit {farm}", foot, version, size, wide=False)

    room = page.fitting(_ROOM, lambda room: made(_client(audit, farm, width, *room)))
    story = [*_client(audit, farm, width, *room), PageBreak()]
    for_auditor = page.telling(_auditor(audit, book, data, version, width), letters.LACKS_ROWS)
    return made([*story, *for_auditor])


def _as_of(audit: Audit) -> str:
    return audit.assessment.book.settings.shown.on(audit.assessment.as_of, BLANK)


def _client(
    audit: Audit, farm: str, width: float, place: int, told: int, unasked: int
) -> list[Any]:
    from reportlab.platypus import Indenter, Spacer

    stations = [result.station for result in audit.assessment.stations]

    def told_of(text: str, most: int) -> str:
        return _cut(letters.with_rows(text, stations), most)

    story: list[Any] = [page.words(f"Audit: {farm}", 15, bold=True)]
    if order := audit.assessment.book.settings.shown.order:
        story.append(page.words(order))
    for question in Question:
        story.append(Spacer(1, 6))
        story.append(page.words(question, 11, bold=True, after=1))
        story.append(page.words(told_of(answer(audit, question), told), after=2))
        worst = list(_worst(audit.of(question)))
        for said, innocent in worst[:WORST]:
            story.append(page.words(f"– {told_of(said, place)}"))
            may_be = page.words(f"May be innocent: {innocent}", after=2)
            story += [Indenter(9), may_be, Indenter(-9)]
        if len(worst) > WORST:
            more = f"and {len(worst) - WORST:,} more, on the sheet Audit detail of the audited copy"
            story.append(page.words(more, after=2))
        if question is Question.PROCEDURE and (agreed := _agreed(audit)):
            story.append(page.words(told_of(agreed, told), after=2))
        if not_seen := _not_asked(audit.of(question), question):
            story.append(page.words(f"Could not be asked: {told_of(not_seen, unasked)}", after=3))
    story.append(Spacer(1, 6))
    story.append(page.cautions_box(touched_at(audit.assessment.stations), width))
    return page.telling(story, letters.LACKS_ROWS)


def _worst(results: list[RuleResult]) -> Iterator[tuple[str, str]]:
    """What has to be explained, and what may explain it: each rule's first place, then the rest."""
    looks = [r for r in results if r.state is State.LOOK]
    found = [(r, [p for p in r.places if not p.holds]) for r in looks]
    for result, places in found:
        if not places:
            yield f"{result.rule.title}: {result.said}", result.rule.innocent
    most = max((len(places) for _, places in found), default=0)
    for turn in range(most):
        for result, places in found:
            if turn < len(places):
                one = places[turn]
                where = f" ({one.sheet}!{one.cell})" if one.cell else ""
                yield f"{result.rule.title}: {one.said}{where}", result.rule.innocent


def _agreed(audit: Audit) -> str:
    """How many actions were agreed for each person, and what became of them."""
    counts = "; ".join(_count(one) for one in by_person(audit.agreed))
    return f"Agreed actions, by the log: {counts}." if counts else ""


def _count(one: PersonCount) -> str:
    taken = one.taken
    parts = (
        (taken[Taken.IN_TIME], "done in time"), (taken[Taken.LATE], "late"),
        (taken[Taken.NOT_TAKEN], "not done"), (taken[Taken.CANNOT], "cannot be told"),
        (taken[None], "not due yet"),
    )  # fmt: skip
    said = ", ".join(f"{number} {words}" for number, words in parts if number)
    return f"{one.name}, {one.agreed} agreed: {said}; effect shown {one.shown}"


def _not_asked(results: list[RuleResult], question: Question) -> str:
    """The rules that this book does not let be asked, with what they need."""
    if question is not Question.TRUST:
        return ""
    return "; ".join(
        f"{r.rule.title} (needs {r.rule.needs})" for r in results if r.state is State.CANNOT
    )


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 2]} …"


def _auditor(audit: Audit, book: str, data: bytes, version: str, width: float) -> list[Any]:
    """Scope, what was handed over, limits, and lines to write and sign on."""
    from reportlab.platypus import KeepTogether, Spacer, Table

    facts = [
        ("Scope", f"The three questions of the page before, as of {_as_of(audit)}"),
        ("Handed over", book),
        ("Its fingerprint (SHA-256)", digest(data)),
        ("Fingerprint of its inputs", fingerprint(audit.assessment.book)),
        ("Audited by", f"Siltbook {version}"),
        ("Date of the audit", ""),
        *((f"Brought in from {f}", f"{n:,} rows and cells, by merge") for f, n in _copies(audit)),
    ]
    rows = [[page.words(name, bold=True), page.words(said)] for name, said in facts]
    rules = [("LINEBELOW", (0, 0), (-1, -1), 0.4, "black"), *page.tight(2)]
    story = [
        page.words("For the auditor", 15, bold=True, after=3),
        Table(rows, colWidths=[0.3 * width, 0.7 * width], style=rules),
        Spacer(1, 8),
        page.words("Limits of this audit", 11, bold=True, after=1),
        *(page.words(f"– {line}", after=1) for line in LIMITS),
    ]
    for title, lines in _LINES:
        ruled = Table(
            [[""]] * lines, colWidths=[width], rowHeights=[27] * lines,
            style=[("LINEBELOW", (0, 0), (-1, -1), 0.5, "black")],
        )  # fmt: skip
        story.append(Spacer(1, 8))
        story.append(KeepTogether([page.words(title, 11, bold=True), ruled]))
    signed = [[page.words("Auditor, date"), "", page.words("Client, date")]]
    over = [("LINEABOVE", (column, 0), (column, 0), 0.7, "black") for column in (0, 2)]
    story.append(Table([[""] * 3], colWidths=[width / 3] * 3, rowHeights=[34]))
    story.append(Table(signed, colWidths=[0.45 * width, 0.1 * width, 0.45 * width], style=over))
    return story


def _copies(audit: Audit) -> list[tuple[str, int]]:
    files = [one.file for one in audit.origins]
    return [(file, files.count(file)) for file in dict.fromkeys(files)]
