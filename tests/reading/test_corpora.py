"""Public spreadsheet files from other projects' tests: none may crash, hang or be changed."""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.errors import BookError, SiltbookError
from siltbook.batch.files import BOOK_ENDINGS, OTHER_ENDINGS
from siltbook.batch.job import review_bytes
from siltbook.batch.reading import book as reading
from siltbook.batch.reading import oldbook
from siltbook.batch.reading.book import read_book
from tests.amount import LONG, whole
from tests.lint import lint
from tests.reading.books import clean_sheets, workbook

CORPORA = Path(__file__).parents[3] / "shared" / "corpora"
needs_corpora = pytest.mark.skipif(not CORPORA.is_dir(), reason="the shared corpora are not here")
EVERY = 1 if LONG else 6  # each sixth book goes through the whole run, each second is read


def books() -> list[Path]:
    found = [p for p in CORPORA.rglob("*") if p.suffix.casefold() in BOOK_ENDINGS and p.is_file()]
    return sorted(found, key=lambda p: hashlib.sha256(p.name.encode()).hexdigest())


def digest(paths: list[Path]) -> dict[Path, str]:
    return {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in paths}


@pytest.fixture
def same_process(monkeypatch: pytest.MonkeyPatch) -> None:
    """Old books are converted in this process: a child for each would take minutes."""

    def here(data: bytes, name: str) -> tuple[bytes, str]:
        if oldbook.UNICODE_PASSWORD in data:
            raise BookError(f"{name} is protected by a password.")
        try:
            return oldbook.convert(data, name)
        except BookError:
            raise
        except Exception as error:
            raise ValueError from error

    monkeypatch.setattr(oldbook, "plain_from_xls", here)


@needs_corpora
@pytest.mark.usefixtures("same_process")
def test_every_public_book_is_read_or_refused_in_one_sentence() -> None:
    paths = books()
    assert len(paths) > 250
    paths = paths[:: 1 if LONG else 2 if whole() else 6]
    before = digest(paths)
    said: list[str] = []
    for path in paths:
        with pytest.raises(BookError) as caught:  # none of them is a farm's
            read_book(path.read_bytes(), path.name)
        said.append(str(caught.value))
        assert path.name in said[-1]
        assert "\n" not in said[-1]
        assert said[-1].endswith(".")
    # Nearly all of them are sound: they lack the sheets, which is known only after opening them.
    assert sum("has no sheet Stations" in text for text in said) > 0.85 * len(said)
    assert digest(paths) == before


@needs_corpora
@pytest.mark.usefixtures("same_process")
def test_check_and_run_go_through_them_all(tmp_path: Path) -> None:
    paths = books()[:: EVERY if whole() else 3 * EVERY]
    before = digest(paths)
    for words in (["check"], ["run", "--out", str(tmp_path / "out")]):
        done = CliRunner().invoke(main, [*words, *map(str, paths)])
        assert done.exit_code == 3
        assert done.exception is None or isinstance(done.exception, SystemExit)
        told = [line for line in done.stderr.splitlines() if line.startswith("siltbook: ")]
        assert len(told) == len(paths)
    assert digest(paths) == before
    assert list((tmp_path / "out").iterdir()) == []


@needs_corpora
@pytest.mark.usefixtures("same_process")
def test_each_takes_our_sheets(monkeypatch: pytest.MonkeyPatch) -> None:
    """As if each had a farm's lists in it: what else it holds goes the whole way."""
    ours = reading.read_book(workbook(clean_sheets()), "b.xlsx")
    monkeypatch.setattr(reading, "read_book", lambda data, path: ours)
    done = refused = 0
    for path in books()[:: (4 if whole() else 16) * EVERY]:
        try:
            made = review_bytes(path.read_bytes(), str(path), path.name).package
        except SiltbookError as error:
            refused += 1
            assert "\n" not in str(error)  # noqa: PT017 - both outcomes are allowed
            continue
        done += 1
        if path.suffix.casefold() in OTHER_ENDINGS:
            # Links lead to the lists, which this book has not.
            found = [fault for fault in lint(made) if "to the missing sheet" not in fault]
            assert found == [], path.name
        else:
            assert review_bytes(made, str(path), path.name).package == made, path.name
    assert done > 8 * refused
