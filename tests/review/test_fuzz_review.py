"""Whatever stands in a book or a pack: an audit and a review that are sound, or a refusal.

A few seconds in every run; longer as the fuzzing of the reader: `SILTBOOK_FUZZ=5000 pytest -n 0
tests/review/test_fuzz_review.py`.
"""

from __future__ import annotations

import json
import re

from hypothesis import given, settings
from hypothesis import strategies as st

from siltbook.batch.audit.job import audit_bytes, audited_package
from siltbook.batch.audit.report import audit_json, lines
from siltbook.batch.errors import SiltbookError
from siltbook.batch.reading.book import read_book
from siltbook.batch.review.agree import enter_agreed
from siltbook.batch.review.farm import read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.templates.blank import BlankOptions, build
from tests.amount import whole
from tests.lint import lint
from tests.reading.books import NAME, zipped
from tests.reading.test_fuzz import BOOKS, CELL, EXAMPLES, FUZZ, PLACES, _plain, mutated
from tests.review.farms import book
from tests.review.packs import AGENDA, COLUMNS, ROW, parts, small_pack

FEW = settings(parent=FUZZ, max_examples=max(3 if whole() else 2, EXAMPLES // 8))


@FEW
@given(BOOKS)
def test_any_filled_book_is_audited_and_reviewed(rows: dict[str, list[dict[str, object]]]) -> None:
    clean = {
        name: [{k: _plain(v) if isinstance(v, str) else v for k, v in row.items()} for row in made]
        for name, made in rows.items()
    }
    data = build(BlankOptions(), clean)
    audit = audit_bytes(data, NAME)
    made = audited_package(audit, data, NAME)
    assert set(lint(made)) <= set(lint(data))
    json.dumps(audit_json(audit, NAME, None), allow_nan=False)
    assert all(line.isprintable() for line in lines(audit, NAME))
    month = Month(2026, 6)
    try:
        pack = pack_bytes(make_pack([read_month(data, NAME, month)], month, "test"))
    except SiltbookError as error:
        assert str(error).startswith("No book is of 2026-06")  # noqa: PT017 - both may be
    else:
        assert lint(pack) == []


def typed(cells: dict[str, str]) -> bytes:
    """The pack with these cells in its Agenda's first row."""
    made: dict[str, str | bytes] = {**parts(small_pack())}
    xml = parts(small_pack())[AGENDA].decode()
    for header, cell in cells.items():
        ref = f"{COLUMNS[header]}{ROW}"
        placed = cell.replace("<c", f'<c r="{ref}"', 1)
        old = rf'<c r="{ref}"[^>]*?(/>|>.*?</c>)'
        xml = re.sub(old, lambda _, new=placed: new, xml, count=1, flags=re.DOTALL)
    made[AGENDA] = xml
    return zipped(made)


@FEW
@given(st.fixed_dictionaries({}, optional=dict.fromkeys(COLUMNS, CELL)))
def test_any_cell_of_an_agenda_is_carried_or_refused(cells: dict[str, str]) -> None:
    north = book("north")
    try:
        done = enter_agreed(typed(cells), "pack.xlsx", north, "north-2026.xlsx")
    except SiltbookError as error:
        assert str(error).startswith("pack.xlsx")  # noqa: PT017 - both outcomes are allowed
        assert "\n" not in str(error)  # noqa: PT017
        return
    if done.data is not None:
        assert lint(done.data) == lint(north)
        assert len(read_book(done.data, "n").book.agreed.frame) == 4 + len(done.rows)


@FUZZ
@given(
    st.deferred(lambda: st.sampled_from(sorted(parts(small_pack())))), PLACES,
    st.none() | st.integers(1, 2**20),
)  # fmt: skip
def test_any_change_inside_a_pack(
    part: str, places: list[tuple[int, int]], cut: int | None
) -> None:
    made: dict[str, str | bytes] = {**parts(small_pack())}
    made[part] = mutated(parts(small_pack())[part], places, cut)
    try:
        enter_agreed(zipped(made), "pack.xlsx", book("north"), "north-2026.xlsx")
    except SiltbookError as error:
        assert str(error).startswith("pack.xlsx")  # noqa: PT017 - both outcomes are allowed
        assert "\n" not in str(error)  # noqa: PT017
