"""Hostile and broken sources: one sentence or a bounded answer, never a traceback."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sample_workbooks.as_kept import LAYOUTS, Style, as_csv, as_xlsx
from siltbook.batch.adopt.job import Adoption, Source, look
from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.reading.book import read_book
from tests.adopt.farms import kept, siltbook
from tests.amount import amount, examples
from tests.effort import must_end

GOOD = as_csv(kept(Style(dates="iso")), ";")


def refusal(data: bytes, name: str = "own.csv") -> str:
    with pytest.raises(BookError) as caught:
        look([Source(Path(name), data)])
    return str(caught.value)


def outcome(data: bytes) -> Adoption | str:
    """What adopting gives, or the sentence of its refusal; anything else is raised."""
    try:
        return look([Source(Path("own.csv"), data)])
    except SiltbookError as error:
        return str(error)


def holds(found: Adoption | str) -> bool:
    """Whether a refusal is one sentence about the file, or the counts add up."""
    if isinstance(found, str):
        return found.startswith("own.csv") and "\n" not in found
    rows = found.rows
    return rows.read == rows.used + rows.proposed + rows.not_used


def test_a_line_without_end_is_refused() -> None:
    assert refusal(b"x" * 5_000_000) == (
        "own.csv, line 1: a line of more than 100,000 characters, which no table of readings has;"
        " export it again as CSV."
    )
    late = GOOD * 40 + b";" * 5_000_000  # behind the lines that tell the delimiter
    assert f"own.csv, line {late.count(10) + 1:,}: a line of more than" in refusal(late)


def test_more_lines_than_any_logger_writes_are_refused() -> None:
    assert refusal(GOOD + b"\n" * 2_500_000) == (
        f"own.csv: {GOOD.count(10) + 2_500_000:,} lines; accepted: up to 2,500,000. Split it by"
        " year or month."
    )


def test_a_record_that_runs_over_lines_without_end_is_refused() -> None:
    # Each line ends in an open quote and the next one closes it: one record of many fields.
    said = refusal(GOOD + b'x;"\n' + b'";1;"\n' * 200_000)
    assert "a quotation mark that no other closes for 1,000,000 characters" in said
    assert said.endswith("; export it again as CSV.")


def test_lines_that_end_in_a_carriage_return_alone_are_lines() -> None:
    found = look([Source(Path("own.csv"), GOOD.replace(b"\r\n", b"\n").replace(b"\n", b"\r"))])
    assert len(found.rows.readings) == 15


def test_a_million_columns_are_refused() -> None:
    assert "own.csv, line 1: a line of more than 100,000 characters" in refusal(b";" * 1_000_000)
    assert "own.csv, line 1: 50,001 columns; accepted: up to 2,000." in refusal(b";" * 50_000)


def test_bytes_that_are_no_text_are_refused() -> None:
    assert refusal(b"PK\x03\x04\x00\x00\x00") == (
        "own.csv holds bytes that no text has: export it again as CSV."
    )
    assert "no table of filter readings" in refusal(b"")


def test_nul_bytes_inside_change_nothing() -> None:
    data = b"#" * 5000 + b"\n" + GOOD.replace(b"South", b"So\x00uth")
    assert len(look([Source(Path("own.csv"), data)]).rows.readings) == 15


def test_an_open_quote_swallows_no_more_than_its_file() -> None:
    assert holds(outcome(GOOD + b'"2026-09-01;South;3;2;"open\n' * 50))


def test_formulas_stay_texts_in_mapping_and_book(tmp_path: Path) -> None:
    evil = '=HYPERLINK("http://x.invalid","click")'
    own = tmp_path / "own.csv"
    quoted = '"' + evil.replace('"', '""') + '"'
    own.write_bytes(GOOD.replace(b"cleaned screen", quoted.encode()))
    siltbook("adopt", own)
    siltbook("adopt", own, "--mapping", tmp_path / "own.mapping.xlsx")
    for name in ("own.mapping.xlsx", "own.book.xlsx"):
        with zipfile.ZipFile(tmp_path / name) as book:
            parts = b"".join(book.read(n) for n in book.namelist() if "sheet" in n)
        assert b"<f>HYPERLINK" not in parts
    book_read = read_book((tmp_path / "own.book.xlsx").read_bytes(), "own.book.xlsx").book
    assert evil in book_read.readings.frame["remark"].tolist()


@pytest.mark.parametrize("layout", LAYOUTS)
def test_cut_off_workbooks_are_one_sentence(layout: str) -> None:
    data = as_xlsx(kept(Style(layout)))
    assert refusal(data[: len(data) // 2], "own.xlsx").startswith("own.xlsx is damaged")


def test_many_short_lines_take_seconds_not_minutes() -> None:
    data = b"Date;Station;Inlet (bar);Outlet (bar)\n" + b";;;\n" * 300_000
    with must_end():
        assert "no table of filter readings" in refusal(data)


CELLS = st.one_of(
    st.text(max_size=12),
    st.sampled_from([
        "Date", "Inlet", "Outlet (bar)", "S1 in", "S1 out", "2026-05-01", "3,2", "2.9", "Station",
        "Average", "(bar)", "flushed 3x", "Δp", "12/05/26", "in", "", "Fecha", "=1+1", "1e999", "-",
    ]),
)  # fmt: skip


@settings(max_examples=examples(amount(50, 150)), deadline=None)
@given(st.lists(st.lists(CELLS, max_size=7), max_size=14))
def test_any_table_is_counted_or_refused_in_one_sentence(rows: list[list[str]]) -> None:
    text = "\n".join(";".join(c.replace(";", ",").replace("\n", " ") for c in r) for r in rows)
    assert holds(outcome(text.encode("utf-8", "replace")))


@settings(max_examples=examples(60), deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.binary(min_size=1, max_size=4))
def test_any_broken_byte_is_read_or_refused(at: int, put: bytes) -> None:
    assert holds(outcome(GOOD[:at] + put + GOOD[at + len(put) :]))
