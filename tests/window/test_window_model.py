"""What the window does, without a screen: the desk, its papers, what is remembered."""

from __future__ import annotations

import json
import queue
import shutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from siltbook.batch import many, watching
from siltbook.batch.errors import BookError
from siltbook.batch.window import opening, papers, start
from siltbook.batch.window.desk import Desk
from siltbook.batch.window.events import (
    Event,
    Failed,
    Idle,
    Made,
    Need,
    Progress,
    Row,
    fitted,
    in_short,
)
from siltbook.batch.window.remembered import config_folder, last_folder, remember
from tests.amount import whole

SAMPLES = Path(__file__).parents[2] / "sample_workbooks"


@pytest.fixture
def book(tmp_path: Path) -> Path:
    (tmp_path / "farm").mkdir()
    return Path(shutil.copy(SAMPLES / "twelve-stations.xlsx", tmp_path / "farm" / "river.xlsx"))


@pytest.fixture
def desk(monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    if not whole():
        monkeypatch.setattr(watching, "SETTLED", 0.4)
    made = Desk(look=0.1)
    yield made
    made.close(60)


def until_idle(desk: Desk) -> list[Event]:
    """All events up to the next rest."""
    seen: list[Event] = []
    while not seen or not isinstance(seen[-1], Idle):
        seen.append(desk.events.get(timeout=600))
    return seen


def rows(events: list[Event]) -> list[Row]:
    return [event for event in events if isinstance(event, Row)]


def test_a_folder_gives_a_row_for_each_book_with_its_urgent_stations_first(
    desk: Desk, book: Path
) -> None:
    (book.parent / "notes.xlsx").write_bytes(b"no workbook")
    desk.judge([book.parent])
    events = until_idle(desk)
    bad, good = rows(events)
    assert bad.failure.startswith(f"{bad.book} is not an .xlsx workbook")
    assert (bad.reviewed, bad.needs) == (None, ())
    assert in_short(bad) == bad.failure
    assert good.reviewed == book.with_name("river.reviewed.xlsx")
    assert good.reviewed.exists()
    assert good.needs[0].verdict == "escalate"
    assert good.needs[0].reason.endswith(".")
    assert len(good.needs) + good.calm == 12
    assert not {need.verdict for need in good.needs} & {"in-range", "resting"}
    assert in_short(good).startswith("1 escalate, 1 hand clean")
    assert any("Before a filter is opened" in line for line in good.cautions)
    assert [e.doing for e in events if isinstance(e, Progress)] == ["notes.xlsx", "river.xlsx"]


def test_a_path_that_is_not_there_stays_in_the_list_and_the_others_are_done(
    desk: Desk, book: Path
) -> None:
    gone = book.with_name("gone.xlsx")
    desk.judge([gone, book])
    missing, judged = rows(until_idle(desk))
    said = f"{gone}: no such file or folder. Check the spelling of the path."
    assert missing == Row(gone, failure=said)
    assert (judged.book, judged.failure) == (book, "")


def test_a_book_that_is_open_elsewhere_or_saved_meanwhile_says_what_was_not_seen(
    desk: Desk, book: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def saved_meanwhile(job: many.Job) -> many.Judged:
        book.write_bytes(job.data)
        return judge(job)

    judge = many.judge
    monkeypatch.setattr(many, "judge", saved_meanwhile)
    book.with_name(f"~${book.name}").touch()
    desk.judge([book])
    (row,) = rows(until_idle(desk))
    assert row.notes == (
        f"{book}: was saved while it was judged, and the result is of the book before that: run "
        "again.",
        f"{book}: is open in a spreadsheet program, or was when that broke off; what is not saved "
        "was not seen.",
    )


def test_every_paper_is_made_where_the_command_makes_it(book: Path, tmp_path: Path) -> None:
    made = {
        "Round sheet": papers.round_sheet(book),
        "Station card": papers.station_card(book, ["S02 Pond"]),
        "Audit": papers.audit(book),
        "Archive": papers.archive(book, tmp_path / "kept"),
    }
    paths = {
        "Round sheet": book.with_name("river.round.pdf"),
        "Station card": book.with_name("river.card.pdf"),
        "Audit": book.with_name("river.audited.xlsx"),
        "Archive": tmp_path / "kept" / "river",
    }
    for what, one in made.items():
        assert isinstance(one, Made), one
        assert (one.what, one.path) == (what, paths[what])
        assert one.path.exists()
        assert any(str(one.path) in line for line in one.said)


@pytest.mark.at_length  # every paper is made where the command makes it
def test_the_review_pack_of_a_month_stands_beside_its_book(book: Path) -> None:
    made = papers.review_pack([book], "2026-07")
    assert isinstance(made, Made), made
    assert made.path == book.with_name("river.review-2026-07.xlsx")
    failed = papers.review_pack([book], "July")
    assert isinstance(failed, Failed)
    assert "July" in failed.sentence


def test_what_a_command_refuses_is_its_own_sentence(book: Path) -> None:
    theirs = book.with_name("river.round.pdf")
    theirs.write_bytes(b"%PDF of somebody")
    failed = papers.round_sheet(book)
    assert failed == Failed(f"{theirs}: not made by Siltbook, so it is left alone. Move it away.")
    assert theirs.read_bytes() == b"%PDF of somebody"
    unknown = papers.station_card(book, ["S99 Nowhere"])
    assert isinstance(unknown, Failed)
    assert "S99 Nowhere" in unknown.sentence
    assert not unknown.sentence.startswith("siltbook")


def test_a_watched_folder_judges_a_book_again_when_it_is_saved(desk: Desk, book: Path) -> None:
    desk.watch(book.parent)
    first = until_idle(desk)
    assert first[-1] == Idle(book.parent)
    assert [row.book for row in rows(first)] == [book]
    shutil.copy(SAMPLES / "portfolio" / "hill-2026.xlsx", book)
    again = until_idle(desk)
    assert rows(again)[0].as_of == "2026-09-30"
    desk.unwatch()
    assert until_idle(desk)[-1] == Idle(None)
    book.write_bytes(b"no workbook")
    time.sleep(1.5 * watching.SETTLED)
    with pytest.raises(queue.Empty):
        desk.events.get_nowait()


@pytest.mark.at_length  # a watched folder judges a book again
def test_watching_judges_only_what_has_changed_since_its_row_was_told(
    desk: Desk, book: Path
) -> None:
    other = Path(shutil.copy(SAMPLES / "portfolio" / "hill-2026.xlsx", book.parent))
    (book.parent / "notes.xlsx").write_bytes(b"no workbook")
    desk.judge([book.parent])
    first = rows(until_idle(desk))
    assert len(first) == 3
    result = book.with_name("river.reviewed.xlsx")
    kept = result.stat().st_mtime_ns
    shutil.copy(SAMPLES / "portfolio" / "east-2026.xlsx", other)
    told = [row.book for row in first]
    desk.watch(book.parent, told)
    judged = rows(until_idle(desk))
    assert [row.book.name for row in judged] == ["hill-2026.xlsx", "notes.xlsx"]
    assert result.stat().st_mtime_ns == kept
    result.unlink()
    desk.watch(book.parent, told)
    assert [row.book for row in rows(until_idle(desk))] == [book.with_name("notes.xlsx"), book]
    desk.watch(book.parent)
    assert len(rows(until_idle(desk))) == 3


def test_a_line_too_short_says_the_most_urgent_and_how_many_more() -> None:
    verdicts = ["escalate", "flush", "flush", "check-supply", "watch"]
    row = Row(Path("a.xlsx"), needs=tuple(Need(str(n), v, "") for n, v in enumerate(verdicts)))
    whole = in_short(row)
    assert fitted(row, lambda s: True) == whole
    assert fitted(row, lambda s: len(s) < len(whole)).endswith(" and 3 more")
    assert fitted(row, lambda s: len(s) <= 21) == "1 escalate and 4 more"
    assert fitted(row, lambda s: len(s) < 3) == "…"
    failed = Row(Path("a.xlsx"), failure="a.xlsx is not a workbook. Save it as .xlsx.")
    assert fitted(failed, lambda s: len(s) <= 20) == "is not a workbook. …"
    assert fitted(failed, lambda s: len(s) <= 50) == failed.failure


def test_a_watched_folder_that_is_taken_away_is_said_once(desk: Desk, book: Path) -> None:
    desk.watch(book.parent)
    until_idle(desk)
    shutil.rmtree(book.parent)
    assert until_idle(desk)[-1] == Idle(None)
    said = desk.events.get(timeout=600)
    assert isinstance(said, Failed)
    assert "cannot be watched (it is not there, or was renamed or deleted)" in said.sentence


def test_a_fault_of_the_program_is_a_sentence_and_the_desk_goes_on(desk: Desk, book: Path) -> None:
    def broken() -> Made:
        raise ZeroDivisionError

    desk.make("Round sheet", broken)
    failed = until_idle(desk)[-2]
    assert isinstance(failed, Failed)
    assert "this is a fault of Siltbook" in failed.sentence
    desk.make("Round sheet", lambda: papers.round_sheet(book))
    assert isinstance(until_idle(desk)[-2], Made)


def test_the_last_folder_is_remembered_until_it_is_gone(tmp_path: Path) -> None:
    config, folder = tmp_path / "config", tmp_path / "farm"
    assert last_folder(config) is None
    folder.mkdir()
    remember(config, folder)
    assert last_folder(config) == folder.resolve()
    folder.rmdir()
    assert last_folder(config) is None


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"folder": 7}', '{"folder": null}', "{}", '{"folder": "a\\u0000b"}',
             "[" * 100_000],
)  # fmt: skip
def test_a_damaged_memory_is_ignored(tmp_path: Path, text: str) -> None:
    (tmp_path / "window.json").write_text(text)
    assert last_folder(tmp_path) is None
    remember(tmp_path, tmp_path)
    assert json.loads((tmp_path / "window.json").read_text())["folder"] == str(tmp_path.resolve())


def test_a_memory_that_cannot_be_written_stops_nothing(tmp_path: Path) -> None:
    (tmp_path / "config").write_text("a file where a folder is wanted")
    remember(tmp_path / "config", tmp_path)
    assert last_folder(tmp_path / "config") is None


def test_the_memory_lies_where_each_system_keeps_settings() -> None:
    home = Path("home")
    assert config_folder("linux", {}, home) == home / ".config" / "siltbook"
    assert config_folder("linux", {"XDG_CONFIG_HOME": "c"}, home) == Path("c") / "siltbook"
    assert config_folder("win32", {"APPDATA": "r"}, home) == Path("r") / "siltbook"
    mac = home / "Library" / "Application Support" / "siltbook"
    assert config_folder("darwin", {}, home) == mac


def test_a_file_that_is_gone_is_not_opened(tmp_path: Path) -> None:
    with pytest.raises(BookError, match="is not there any more"):
        opening.open_path(tmp_path / "gone.pdf", "linux")
    assert opening.command_for(tmp_path, "darwin") == ["open", str(tmp_path.resolve())]


def test_where_no_program_opens_a_file_one_sentence_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BookError, match=r"could not be opened .* Open it from its folder"):
        opening.open_path(tmp_path, "linux")


def test_a_python_without_tkinter_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "tkinter", None)
    assert start.main([]) == 3
    said = capsys.readouterr().err
    assert said.startswith("siltbook-window: this Python lacks tkinter")
    assert "sudo apt install python3-tk" in said
    assert said.count("\n") == 1
