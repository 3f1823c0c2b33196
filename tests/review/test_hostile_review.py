"""Review, agree and audit on what means harm, goes wrong or comes in great number."""

from __future__ import annotations

import datetime as dt
import io
import json
import os
import subprocess
import sys
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook.batch.audit.job import audit_bytes, audited_package
from siltbook.batch.cli import main
from siltbook.batch.pdf import PdfError
from siltbook.batch.reading.book import read_book
from siltbook.batch.review.farm import read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.batch.review.target import PDF_MARK
from tests.amount import few, whole
from tests.effort import calls
from tests.lint import lint
from tests.reading.books import HEAD, clean_sheets, raw_book, raw_sheet, row, workbook
from tests.reading.hostile_child import bounded
from tests.reading.test_hostile import HARM, PAYLOADS, assert_stays_text, poisoned
from tests.review.farms import book
from tests.review.packs import ROW, small_pack
from tests.review.test_agree import NORTH, filled

MAY = ("--month", "2026-05", "--no-pdf")
COMMANDS = [("audit",), ("review", *MAY)]


def siltbook(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def refused(result: Result, sentence: str) -> None:
    """One line on the error output, exit code 3."""
    assert result.exit_code == 3, result.output
    (line,) = [line for line in result.stderr.splitlines() if line != "Books"]
    assert line.startswith("siltbook: ")
    assert sentence in line


@pytest.fixture
def farms(tmp_path: Path) -> Path:
    """A folder with the books of two farms."""
    folder = tmp_path / "farms"
    folder.mkdir()
    for farm in ("north", "south"):
        (folder / f"{farm}-2026.xlsx").write_bytes(book(farm))
    return folder


def tiny_farm(name: str, readings: int = 4, year: int = 2026) -> bytes:
    """Two stations in May of a year, where the farm does not matter."""
    sheets = clean_sheets(readings)
    sheets["Farm"][0][1] = name
    for rows in sheets.values():
        rows[:] = [[c.replace(year=year) if isinstance(c, dt.date) else c for c in r] for r in rows]
    return workbook(sheets)


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    """A folder with the tiny books of two farms."""
    folder = tmp_path / "farms"
    folder.mkdir()
    (folder / "north-2026.xlsx").write_bytes(tiny_farm("North Farm"))
    (folder / "south-2026.xlsx").write_bytes(tiny_farm("South Farm", 6))
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.is_file()}


# What is read all the same, and what is refused; the rest of HARM takes the same way in.
SOME = ("corner", "long-text", "merged", "laughs", "password")


@pytest.mark.at_length(keep="review")
@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
@pytest.mark.parametrize("command", COMMANDS, ids=["audit", "review"])
def test_hostile_books_give_one_sentence_within_limits_and_the_others_are_done(
    command: tuple[str, ...], tmp_path: Path
) -> None:
    folder = tmp_path / "books"
    folder.mkdir()
    for name in SOME:
        (folder / f"{name}.xlsx").write_bytes(HARM[name][0]())
    (folder / "zz-last.xlsx").write_bytes(workbook(clean_sheets()))
    before = contents(folder)
    done = bounded(folder, tmp_path / "out", *command)
    assert done.code == 3
    assert done.peak < 2**30
    said = [line for line in done.stderr.splitlines() if line.startswith("siltbook: ")]
    for name in SOME:
        sentence = HARM[name][1]
        lines = [line for line in said if f"{name}.xlsx" in line]
        assert len(lines) == (1 if sentence else 0), (name, lines)
        assert not sentence or sentence in lines[0]
    # What was read of the three others are the same entries.
    wanted = "zz-last.xlsx" if command == ("audit",) else "Review of May 2026 · 2 books"
    assert wanted in done.stdout
    assert contents(folder) == before


@pytest.mark.at_length(drop="read_month")
@pytest.mark.parametrize(
    ("where", "command"),
    [("siltbook.batch.audit.job.audit_bytes", ("audit",)),
     ("siltbook.batch.review.farm.read_month", ("review", *MAY)),
     ("siltbook.batch.job.assess_bytes", ("check",))],
)  # fmt: skip
def test_a_book_beyond_the_memory_is_said_and_the_other_is_done(
    where: str, command: tuple[str, ...], farms: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    module, _, name = where.rpartition(".")
    real: Callable[..., object] = getattr(sys.modules[module], name)

    def short(data: bytes, path: str, *more: object) -> object:
        if "north" in path:
            raise MemoryError
        return real(data, path, *more)

    monkeypatch.setattr(where, short)
    done = siltbook(command[0], farms, *command[1:])
    refused(done, f"{farms / 'north-2026.xlsx'}: too large for this machine's memory. Split it")
    assert "South Farm" in done.stdout or "south-2026.xlsx: no findings" in done.stdout


@pytest.mark.parametrize(
    "where", ["siltbook.batch.review.pack.pack_bytes", "siltbook.batch.review.agree.enter_agreed"]
)
def test_a_pack_beyond_the_memory_leaves_everything_as_it_was(
    where: str, tiny: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def short(*_: object) -> None:
        raise MemoryError

    (tiny / "p.review-2026-07.xlsx").write_bytes(small_pack())
    before = contents(tiny)
    monkeypatch.setattr(where, short)
    words = (
        ("agree", tiny / "p.review-2026-07.xlsx", tiny / "north-2026.xlsx")
        if where.endswith("enter_agreed")
        else ("review", tiny, *MAY)
    )
    refused(siltbook(*words), "too large for this machine's memory.")
    assert contents(tiny) == before


NAMES = ("esc\x1b[31m.xlsx", "two\nlines.xlsx", os.fsdecode(b"bad\xff\xfe.xlsx"), "=cmd.xlsx",
         "-rf.xlsx", "..xlsx")  # fmt: skip


@pytest.mark.at_length(keep="command4")
@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
@pytest.mark.parametrize(
    ("command", "as_json"),
    [(("run",), False), *((c, j) for c in COMMANDS for j in (False, True))],
)
def test_no_file_name_breaks_the_output_or_leads_astray(
    command: tuple[str, ...], as_json: bool, tmp_path: Path
) -> None:
    inside, out = tmp_path / "in", tmp_path / "out"
    inside.mkdir()
    for number, name in enumerate(NAMES):
        sheets = clean_sheets(4 + number)  # other entries, so that the review counts each
        (inside / name).write_bytes(workbook(sheets))
    words: list[object] = [command[0], *[inside / name for name in NAMES], *command[1:]]
    done = siltbook(*words, "--out", out, *(["--json"] if as_json else []))
    assert done.exit_code in (0, 1), done.output
    assert {p.name for p in tmp_path.iterdir()} <= {"in", "out"}
    assert {p.name for p in inside.iterdir()} == set(NAMES)
    if as_json:
        told = json.loads(done.stdout)["books"]
        assert [Path(b.get("path") or b["file"]).name for b in told] == list(NAMES)
    else:
        assert all(c.isprintable() for line in done.stdout.split("\n") for c in line)


@pytest.mark.at_length  # tests/faults/test_other_systems.py: a console of western letters
def test_a_terminal_of_few_characters_gets_what_it_can_show(tmp_path: Path) -> None:
    sheets = clean_sheets()
    sheets["Farm"][0][1] = "Farm \u03a9"
    (tmp_path / "b.xlsx").write_bytes(workbook(sheets))
    done = subprocess.run(
        [sys.executable, "-c", "from siltbook.batch.cli import main; main()", "run",
         str(tmp_path / "b.xlsx")],
        cwd=Path(__file__).parents[2], capture_output=True, check=False, text=True,
        encoding="latin-1", env={**os.environ, "PYTHONIOENCODING": "latin-1:strict"},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert f"{tmp_path / 'b.xlsx'} \u00b7 Farm \\u03a9" in done.stdout


def test_a_pack_beside_the_books_is_passed_over_and_said(tiny: Path) -> None:
    (tiny / "july.xlsx").write_bytes(small_pack())
    done = siltbook("review", tiny, *MAY)
    assert done.exit_code == 0
    assert done.stdout.splitlines()[-1] == (
        "july.xlsx: passed over; it is a review pack, not a farm's book."
    )
    onto = ("review", tiny / "july.xlsx", *MAY, "--out")
    refused(siltbook(*onto, tiny / "july.xlsx"), "nothing but this pack was given; name its books")
    alone = siltbook("review", tiny / "july.xlsx", "--month", "2026-08", "--no-pdf")
    refused(alone, "july.xlsx: passed over; it is a review pack, not a farm's book.")
    for command in ("run", "check", "audit"):
        refused(siltbook(command, tiny / "july.xlsx"), "give the book it was made from.")


def test_the_same_entries_count_once_and_a_likely_copy_is_named(tiny: Path) -> None:
    north, reviewed = tiny / "north-2026.xlsx", tiny / "north-2026.reviewed.xlsx"
    assert siltbook("run", north).exit_code == 0
    done = siltbook("review", reviewed, north, *MAY, "--out", tiny / "out")
    assert "Review of May 2026 · 1 book " in done.stdout
    said = "north-2026.reviewed.xlsx: passed over; it holds the same entries as north-2026.xlsx."
    assert said in done.stdout.splitlines()
    (tiny / "north copy.xlsx").write_bytes(tiny_farm("North Farm", year=2025))
    older = siltbook("review", tiny, *MAY, "--json")
    document = json.loads(older.stdout)
    assert document["notes"] == []  # another season is compared, not counted
    sheets = clean_sheets()
    (tiny / "a.xlsx").write_bytes(workbook(sheets))
    (tiny / "b.xlsx").write_bytes(workbook(clean_sheets(6)))
    both = siltbook("review", tiny / "a.xlsx", tiny / "b.xlsx", *MAY, "--json")
    assert json.loads(both.stdout)["notes"] == [
        "a.xlsx and b.xlsx both hold F1 of Invented farm, with other entries, and both are "
        "counted: if one is an older copy, take it away; if they are two copies, bring them "
        "together: 'siltbook merge a.xlsx b.xlsx'. Then run again."
    ]
    pack = (tiny / "portfolio.review-2026-05.xlsx").read_bytes()
    assert "both hold F1 of Invented farm" in read_text(pack)


def read_text(package: bytes) -> str:
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        names = [n for n in archive.namelist() if "sharedStrings" in n or "/sheet" in n]
        return "".join(archive.read(name).decode() for name in names)


def test_an_out_that_is_neither_folder_nor_workbook_is_refused(farms: Path) -> None:
    before = contents(farms)
    for name, said in (("july.pdf", "a pack ends in .xlsx, and its PDF gets the same name"),
                       ("north-2026.xlsx/x", "cannot be made (Not a directory)")):  # fmt: skip
        done = siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--out", farms / name)
        refused(done, said)
    (farms / "d.xlsx").mkdir()
    done = siltbook("review", farms, "--month", "2026-07", "--no-pdf", "--out", farms / "d.xlsx")
    refused(done, "d.xlsx: this is a folder, not a workbook.")
    assert contents(farms) == before


def test_minutes_written_while_the_books_were_read_are_not_replaced(
    tiny: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tiny / "p.xlsx"
    minutes = filled({ROW: NORTH}, small_pack())

    def meanwhile(pack: object) -> bytes:
        target.write_bytes(minutes)
        return b"a pack"

    monkeypatch.setattr("siltbook.batch.review.pack.pack_bytes", meanwhile)
    done = siltbook("review", tiny, *MAY, "--out", target)
    refused(done, "p.xlsx holds 1 row that a meeting filled in: it was not replaced")
    assert target.read_bytes() == minutes


class TestPdf:
    """The PDF beside a pack, without LibreOffice."""

    def review(self, tiny: Path, *more: str) -> Result:
        return siltbook(
            "review", tiny / "south-2026.xlsx", "--month", "2026-05", "--out", tiny / "p.xlsx",
            *more,
        )  # fmt: skip

    @pytest.fixture(autouse=True)
    def _made(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr("siltbook.batch.pdf.to_pdf", lambda data: b"%PDF made %%EOF\n")

    def test_it_is_replaced_by_the_next_and_not_where_somebody_wrote_into_it(
        self, tiny: Path
    ) -> None:
        pdf = tiny / "p.pdf"
        for _ in range(2):
            assert self.review(tiny).exit_code == 0
            assert pdf.read_bytes() == b"%PDF made %%EOF\n" + PDF_MARK
        pdf.write_bytes(pdf.read_bytes() + b"notes of the meeting %%EOF")
        before = contents(tiny)
        refused(self.review(tiny), "p.pdf exists and is not this pack's, or somebody wrote into")
        assert contents(tiny) == before
        done = self.review(tiny, "--no-pdf")
        assert done.exit_code == 0
        assert f"  {pdf} was left as it is; it is not of this pack.\n" in done.stdout

    @pytest.mark.parametrize("as_json", [False, True])
    def test_one_that_cannot_be_made_leaves_the_pack_and_ends_with_3(
        self, tiny: Path, monkeypatch: pytest.MonkeyPatch, as_json: bool
    ) -> None:
        def fails(data: bytes) -> bytes:
            raise PdfError("LibreOffice made no PDF.")

        monkeypatch.setattr("siltbook.batch.pdf.to_pdf", fails)
        done = self.review(tiny, *(["--json"] if as_json else []))
        refused(done, "LibreOffice made no PDF.")
        assert (tiny / "p.xlsx").is_file()
        assert not (tiny / "p.pdf").exists()
        if as_json:
            document = json.loads(done.stdout)
            assert (document["pdf"], document["failed"]) == (None, ["LibreOffice made no PDF."])

    def test_one_beyond_the_memory(self, tiny: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def short(data: bytes) -> bytes:
            raise MemoryError

        monkeypatch.setattr("siltbook.batch.pdf.to_pdf", short)
        refused(self.review(tiny), "p.pdf: too large for this machine's memory.")

    def test_none_is_written_beside_a_pack_that_another_review_put_there(
        self, tiny: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def meanwhile(data: bytes) -> bytes:
            (tiny / "p.xlsx").write_bytes(small_pack())
            return b"%PDF made %%EOF\n"

        monkeypatch.setattr("siltbook.batch.pdf.to_pdf", meanwhile)
        refused(self.review(tiny), "p.xlsx: was replaced or changed while its PDF was made, so no")
        assert not (tiny / "p.pdf").exists()
        assert (tiny / "p.xlsx").read_bytes() == small_pack()


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("made", ["reviewed", "audited", "previous", "previous-2"])
def test_agree_refuses_a_copy_that_is_made_anew(farms: Path, made: str) -> None:
    copy = farms / f"north-2026.{made}.xlsx"
    copy.write_bytes(book("north"))
    (farms / "p.xlsx").write_bytes(filled({ROW: NORTH}, small_pack()))
    before = contents(farms)
    refused(siltbook("agree", farms / "p.xlsx", copy), "is a copy that Siltbook made of north-2026")
    assert contents(farms) == before
    (farms / "north-2026.xlsx").unlink()  # the copy is all that is left: then it is the book
    assert siltbook("agree", farms / "p.xlsx", copy).exit_code == 0


def test_open_files_are_said(farms: Path) -> None:
    (farms / "p.xlsx").write_bytes(filled({ROW: NORTH}, small_pack()))
    for name in ("p.xlsx", "north-2026.xlsx"):
        (farms / f".~lock.{name}#").write_text("somebody")
    done = siltbook("agree", farms / "p.xlsx", farms / "north-2026.xlsx")
    said = done.stdout.splitlines()[-3:]
    assert f"{farms / 'p.xlsx'}: is open in a spreadsheet program" in said[0]
    assert f"{farms / 'north-2026.xlsx'}: is open in a spreadsheet program" in said[1]
    assert said[2] == "  Open it anew before you save it there, or the rows are lost."
    (farms / "north-2026.xlsx").write_bytes(tiny_farm("North Farm"))
    commands = (
        ("audit", farms / "north-2026.xlsx"),
        ("review", *farms.glob("*-2026.xlsx"), *MAY),
    )
    for words in few(commands, 1):
        assert siltbook(*words).stdout.count("is open in a spreadsheet program") == 1


@pytest.mark.parametrize("which", ["pack", "book"])
@pytest.mark.parametrize("how", ["folder", "link", "permission", "lock", "changing", "nowhere"])
def test_agree_is_given_what_is_no_file_of_its_kind(
    farms: Path, which: str, how: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    pack, target = farms / "p.xlsx", farms / "north-2026.xlsx"
    pack.write_bytes(filled({ROW: NORTH}, small_pack()))
    odd = farms / ("~$x.xlsx" if how == "lock" else "x.xlsx")
    read = Path.read_bytes

    def guarded(path: Path) -> bytes:
        if path != odd:
            return read(path)
        if how == "permission":
            raise PermissionError(13, "Permission denied")
        data = read(path)
        path.write_bytes(data + b"more")
        return data

    match how:
        case "folder":
            odd.mkdir()
        case "link":
            odd.symlink_to(odd)
        case "nowhere":
            pass
        case _:
            odd.write_bytes(read(pack if which == "pack" else target))
    if how in ("permission", "changing"):
        monkeypatch.setattr(Path, "read_bytes", guarded)
    if how == "lock":
        odd.write_bytes(b"\x05Ana" + bytes(100))
    said = {
        "folder": "x.xlsx: this is a folder, not a workbook. Name the file in it.",
        "link": "x.xlsx, where nothing can be reached. Bring that drive or folder back, or name",
        "permission": "x.xlsx: cannot be read (Permission denied). Check the file's permissions.",
        "lock": "x.xlsx is the lock file of an open workbook",
        "changing": "x.xlsx: changed while it was read. Save and close it, then run again.",
        "nowhere": "x.xlsx: no such file. Check the spelling of the path.",
    }[how]
    words = (odd, target) if which == "pack" else (pack, odd)
    refused(siltbook("agree", *words), said)
    assert target.read_bytes() == book("north")
    assert not list(farms.glob("*.previous*"))


def test_a_linked_book_is_changed_at_its_far_end(farms: Path, tmp_path: Path) -> None:
    link = tmp_path / "link.xlsx"
    link.symlink_to(farms / "north-2026.xlsx")
    (farms / "p.xlsx").write_bytes(filled({ROW: NORTH}, small_pack()))
    assert siltbook("agree", farms / "p.xlsx", link).exit_code == 0
    assert link.is_symlink()
    assert (farms / "north-2026.previous.xlsx").read_bytes() == book("north")
    assert len(read_book(link.read_bytes(), "n").book.agreed.frame) == 5


@pytest.mark.parametrize("command", COMMANDS, ids=["audit", "review"])
def test_an_empty_folder_says_so(command: tuple[str, ...], tmp_path: Path) -> None:
    done = siltbook(command[0], tmp_path, *command[1:])
    refused(done, "no workbook (.xlsx, .xlsm, .ods, .xls) in this folder.")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("month", ["1950-01", "2149-12"])
def test_the_first_and_the_last_month_that_a_workbook_can_hold(farms: Path, month: str) -> None:
    done = siltbook("review", farms, "--month", month, "--no-pdf")
    refused(done, f"No book is of {month} (north-2026.xlsx: its season is 2026")


ODD_DATES = ("1899-12-31", "1900-01-01", "1950-01-01", "2149-12-31", "2150-01-01", "9999-12-31")


def dated(date1904: bool) -> bytes:
    """A book with an entry at both ends of every calendar, among ordinary ones."""
    sheets = clean_sheets(30)
    sheets["Farm"].append(["Season", "2026"])
    head = sheets["Readings"][0]
    odd = [["F1", day, None, 3.0, 2.5] for day in ODD_DATES]
    sheets["Readings"] = [head, *sheets["Readings"][1:], *odd]
    sheets["Agreed"] += [["F1", "x", "y", day, day] for day in ODD_DATES]
    return workbook(sheets, default_date_format="yyyy-mm-dd", date_1904=date1904)


@pytest.mark.at_length(keep="True")
@pytest.mark.parametrize("date1904", [False, True])
def test_dates_at_the_ends_of_every_calendar(date1904: bool) -> None:
    data = dated(date1904)
    for day in (None, dt.date(1950, 1, 1)):
        found = audit_bytes(data, "b.xlsx", day)
        made = audited_package(found, data, "b.xlsx")
        assert set(lint(made)) <= set(lint(data))
    may = read_month(data, "b.xlsx", Month(2026, 5))
    made = pack_bytes(make_pack([may], Month(2026, 5), "test"))
    assert lint(made) == []
    last = read_month(data, "b.xlsx", Month(2149, 12))
    assert last.latest == dt.date(2149, 12, 31)


def test_nothing_typed_becomes_a_formula_a_link_or_markup_in_a_pack_or_an_audit() -> None:
    data = poisoned()
    may = replace(read_month(data, "=cmd.xlsx", Month(2026, 5)), file="=cmd|x.xlsx")
    pack = pack_bytes(make_pack([may], Month(2026, 5), "test", ["=cmd", "<r><t>cmd</t></r>"]))
    audited = audited_package(audit_bytes(data, "=cmd.xlsx"), data, "=cmd.xlsx")
    with zipfile.ZipFile(io.BytesIO(audited)) as archive:
        ours = {n: archive.read(n).decode() for n in archive.namelist() if "siltbook" in n}
    with zipfile.ZipFile(io.BytesIO(pack)) as archive:
        ours |= {n: archive.read(n).decode() for n in archive.namelist() if n.endswith(".xml")}
    told = "".join(ours.values())
    assert told.count("cmd") > len(PAYLOADS) * 5
    assert_stays_text(ours)
    assert lint(pack) == []


def many(count: int) -> bytes:
    """A book of so many stations in one block, with two readings each, all alike."""
    register = raw_sheet(row("Station", "Block"), *(row(f"S{i}", "B") for i in range(count)))
    cells = ("<c/>", "<c><v>3</v></c>", "<c><v>2.7</v></c>")
    visits = "".join(
        row(f"S{i}", day, *cells) for day in ("2026-05-24", "2026-05-31") for i in range(count)
    )
    extra = {"xl/worksheets/sheet1.xml": register}
    return raw_book(raw_sheet(HEAD, visits), extra=extra)


def a_review(data: bytes) -> bytes:
    may = Month(2026, 5)
    return pack_bytes(make_pack([read_month(data, "b.xlsx", may)], may, "test"))


def an_audit(data: bytes) -> bytes:
    return audited_package(audit_bytes(data, "b.xlsx"), data, "b.xlsx")


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("do", [a_review, an_audit])
def test_eight_times_the_stations_cost_no_more_than_eight_times(
    do: Callable[[bytes], object],
) -> None:
    count = 50 if whole() else 20
    few, lots = many(count), many(8 * count)
    do(few)  # what is worked out once
    assert calls(lambda: do(lots)) < 8 * calls(lambda: do(few))
