"""One book's audit: bytes in, answers and the copy with the audit's sheets out. Touches no file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from siltbook.batch.audit.model import Audit, RuleResult, State

if TYPE_CHECKING:
    from siltbook.batch.audit.agreed_seen import Outcome
    from siltbook.batch.audit.agreements import Source
    from siltbook.batch.results import Assessment


def audit_bytes(
    data: bytes,
    path: str,
    as_of: dt.date | None = None,
    witnesses: Sequence[tuple[str, bytes]] = (),
    visits: tuple[str, bytes] | None = None,
) -> Audit:
    """Audit one book; BookError with one sentence where it cannot be read.

    `witnesses`: names and bytes of earlier copies of the book and of packs of its season.
    `visits`: name and bytes of a list of visits.
    """
    from siltbook.batch.audit.book_rules import rules_of_book
    from siltbook.batch.audit.own_findings import book_findings
    from siltbook.batch.audit.power import power
    from siltbook.batch.audit.procedure import procedure
    from siltbook.batch.audit.sensitivity import sensitivity
    from siltbook.batch.audit.stored_results import compare
    from siltbook.batch.audit.tracks import tracks
    from siltbook.batch.audit.trust import trust
    from siltbook.batch.audit.visits import nobody_there, read_visits
    from siltbook.batch.job import assess_bytes
    from siltbook.batch.merging.sheets import origins_in

    assessment = assess_bytes(data, path, as_of)
    book, on = assessment.book, assessment.as_of
    histories = sorted((r.history for r in assessment.stations), key=lambda h: h.station.row)
    steps = procedure(book, histories, on)
    if on is not None and steps:
        steps.append(rules_of_book(book, data))
    own = book_findings(assessment.findings, len(book.readings.frame))
    every = tracks(book, histories)
    if (data_rules := trust(book, histories, every, on)) or own.state is State.LOOK:
        data_rules = [own, *data_rules]
    rows, rules, others = _against(data, path, witnesses) if witnesses else (None, None, ())
    if rows is not None and rules is not None:
        data_rules = [*(data_rules or [own]), rows]
        steps.append(rules)
    agreed, agreed_rules = _agreed(assessment, data, path, others)
    if steps or agreed:
        steps += agreed_rules if witnesses else agreed_rules[:1]
    if visits is not None:
        listed = read_visits(visits[1], visits[0])
        data_rules = [*(data_rules or [own]), nobody_there(book, listed, on)]
    results = (*data_rules, *steps, *compare(assessment, data, witnesses))
    seen = power(book, every) if data_rules else ()
    beside = tuple(name for name, _ in witnesses)
    return Audit(assessment, results, sensitivity(assessment), origins_in(data, path), seen,
                 agreed, beside)  # fmt: skip


def _agreed(
    assessment: Assessment, data: bytes, path: str, others: Sequence[Source]
) -> tuple[tuple[Outcome, ...], list[RuleResult]]:
    """Agreed actions of the book and the other files with what came of them, and their rules."""
    from siltbook.batch.audit.agreed_rules import agreed_done, agreed_kept
    from siltbook.batch.audit.agreed_seen import outcomes
    from siltbook.batch.audit.agreements import agreements, of_book
    from siltbook.batch.typed.boxes import read_boxes
    from siltbook.templates.names import name_key

    book, boxes = assessment.book, read_boxes(data, path)
    names = {name_key(name): str(name) for name in book.stations.frame["station"]}
    home = of_book(book, "", assessment.as_of, boxes.boxes, boxes.sheet, names)
    found = outcomes(assessment, agreements(home, others, assessment.book.settings.shown))
    return found, [agreed_done(book, found), agreed_kept(book, found, others)]


def _against(
    data: bytes, path: str, witnesses: Sequence[tuple[str, bytes]]
) -> tuple[RuleResult, RuleResult, tuple[Source, ...]]:
    """What the witnesses say of the book: of its rows, of its rules, and what was agreed."""
    from siltbook.batch.audit.against import against
    from siltbook.batch.audit.witness import read_witness
    from siltbook.batch.merging.sides import read_side

    home = read_side(data, path)
    read = [read_witness(other, name, home) for name, other in witnesses]
    rows, rules = against(home, read)
    return rows, rules, tuple(one.agreed for one in read if one.agreed is not None)


def audited_package(audit: Audit, data: bytes, book_name: str) -> bytes:
    """A copy of the book with the audit's two sheets; GraftError where it takes no new sheets.

    Earlier audit sheets are replaced where they stand; every other part stays byte-identical,
    except those that list sheets, parts and formats.
    """
    from siltbook.batch.audit.sheets import audit_book
    from siltbook.batch.graft import free_names, graft
    from siltbook.templates.contract import AUDIT_SHEETS

    names = list(free_names(data, AUDIT_SHEETS).values())
    return graft(data, audit_book(audit, names, book_name), names)


def plain_bytes(data: bytes, path: str) -> bytes:
    """The book as an .xlsx, whatever format it came in."""
    from siltbook.batch.reading.foreign import as_xlsx

    return as_xlsx(data, Path(path).name)[0]


def audited(
    data: bytes,
    path: str,
    as_of: dt.date | None = None,
    witnesses: Sequence[tuple[str, bytes]] = (),
    visits: tuple[str, bytes] | None = None,
) -> tuple[Audit, bytes]:
    """The audit of a book of any format, and the copy that carries its sheets."""
    data = plain_bytes(data, path)
    found = audit_bytes(data, path, as_of, witnesses, visits)
    return found, audited_package(found, data, Path(path).name)
