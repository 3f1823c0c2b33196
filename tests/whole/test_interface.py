"""`import siltbook`: the examples of its page, what it promises, and that it stays light."""

from __future__ import annotations

import datetime as dt
import doctest
import re
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import siltbook
from siltbook.batch.tables.stations import VERDICTS

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "python.md"
TWELVE = ROOT / "sample_workbooks" / "twelve-stations.xlsx"


def test_every_example_of_the_page_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"```pycon\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    assert len(blocks) >= 6
    example = doctest.DocTestParser().get_doctest("".join(blocks), {}, PAGE.name, str(PAGE), 0)
    said: list[str] = []
    outcome = doctest.DocTestRunner(verbose=False).run(example, out=said.append)
    assert outcome.failed == 0, "".join(said)


def test_the_page_shows_everything_that_is_offered() -> None:
    functions = [name for name in siltbook.__all__ if name[0].islower()]
    assert functions == ["audit", "check", "judge", "read", "review", "reviewed_bytes"]
    page = PAGE.read_text(encoding="utf-8")
    assert all(f"siltbook.{name}(" in page for name in functions)
    for name in siltbook.__all__:
        assert getattr(siltbook, name).__doc__, name
    assert set(siltbook.__all__) <= set(dir(siltbook))


def test_the_frame_of_verdicts_is_the_described_table() -> None:
    judged = siltbook.judge(TWELVE)
    assert judged.verdicts.columns.tolist() == list(VERDICTS.places)
    assert judged.verdicts["verdict"].tolist() == [r.verdict for r in judged.stations.values()]


def test_bytes_and_path_give_the_same() -> None:
    data = TWELVE.read_bytes()
    frames = (siltbook.judge(TWELVE).verdicts, siltbook.judge(data).verdicts)
    pd.testing.assert_frame_equal(*frames)


def test_a_changed_frame_changes_no_later_answer() -> None:
    first = siltbook.read(TWELVE).lists["Readings"]
    first["inlet"] = 0.0
    assert siltbook.read(TWELVE).lists["Readings"]["inlet"].max() > 1.0


def test_a_month_that_is_none_is_said() -> None:
    with pytest.raises(siltbook.BookError, match="'July' is no month: write year and month"):
        siltbook.review([TWELVE], "July")


def test_one_book_that_is_no_list_is_reviewed_and_none_is_said() -> None:
    with pytest.raises(siltbook.BookError, match=r"nowhere\.xlsx: no such file"):
        siltbook.review("nowhere.xlsx", "2026-07")  # its letters are no books
    with pytest.raises(siltbook.BookError, match="No book was given for the review of 2026-07"):
        siltbook.review([], "2026-07")


@pytest.mark.parametrize("as_of", ["2026-08-30", 20260830, pd.NaT])
def test_what_is_no_day_is_said(as_of: object) -> None:
    with pytest.raises(TypeError, match=r"as_of is .*: give a day, for example datetime.date\("):
        siltbook.judge(TWELVE, as_of)  # type: ignore[arg-type]


def test_of_a_datetime_its_day_counts() -> None:
    from siltbook.batch.interface import _day

    asked = dt.datetime(2026, 7, 1, 9, 30)
    assert {_day(asked), _day(pd.Timestamp(asked)), _day(asked.date())} == {dt.date(2026, 7, 1)}


def test_what_is_no_book_is_said() -> None:
    with pytest.raises(TypeError, match="its path or its bytes, and this is of the type int"):
        siltbook.judge(5)  # type: ignore[arg-type]


def test_what_is_not_offered_is_said() -> None:
    with pytest.raises(AttributeError, match="module 'siltbook' has no attribute 'jugde'"):
        siltbook.jugde  # type: ignore[attr-defined] # noqa: B018


def test_the_import_is_light() -> None:
    code = "import siltbook, sys; print({'pandas', 'pint', 'numpy', 'lxml'} & set(sys.modules))"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout == "set()\n"
