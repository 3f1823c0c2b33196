"""Files that mean harm: one clear sentence each, within limits, and the batch goes on."""

from __future__ import annotations

import datetime as dt
import io
import re
import struct
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from siltbook.batch.cli import main
from siltbook.batch.job import review_bytes
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import LISTS, RESULT_SHEETS, Kind
from tests.amount import amount
from tests.faults.support import forbid_reading
from tests.reading.books import HEAD, MAIN, clean_sheets, raw_book, raw_sheet, row, workbook
from tests.reading.hostile_child import bounded

GOOD = row("F1", "2026-05-31", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>")
MIB = 2**20
BEYOND = "holds more cells than any season's workbook: delete the rows and sheets that are not"
DAMAGED = "is damaged or not complete: open it in a spreadsheet program"
TOO_LONG = "takes more time or memory than any season's workbook of its size: it was not read"


def sheet(body: str, head: str = "") -> str:
    return f'{head}<worksheet xmlns="{MAIN}"><sheetData>{HEAD}{GOOD}{body}</sheetData></worksheet>'


def claiming(size: int) -> bytes:
    """A book that claims for one part to unpack to `size` [bytes]."""
    data = bytearray(raw_book(sheet("")))
    entry = data.rindex(b"PK\x01\x02")
    data[entry + 24 : entry + 28] = struct.pack("<I", size)
    return bytes(data)


def with_strings(strings: str, readings: str = "") -> bytes:
    """A book with this list of shared strings."""
    part = "xl/_rels/workbook.xml.rels"
    with zipfile.ZipFile(io.BytesIO(raw_book(""))) as archive:
        related = archive.read(part).decode()
    found = re.search(r"(<Relationship Id=\"s\"[^>]*/>)", related)
    assert found
    ours = found[1].replace('Id="s"', 'Id="t"').replace("/styles", "/sharedStrings")
    ours = ours.replace("styles.", "sharedStrings.")
    parts = {part: related.replace(found[1], found[1] + ours), "xl/sharedStrings.xml": strings}
    return raw_book(readings or sheet(""), extra=parts)


def laughs() -> str:
    """Entities of entities: a thousand million characters out of a few lines."""
    made = '<!ENTITY a0 "ha">' + "".join(
        f'<!ENTITY a{i} "{f"&a{i - 1};" * 10}">' for i in range(1, 10)
    )
    return sheet(row("&a9;"), f"<!DOCTYPE x [{made}]>")


def too_many_items() -> str:
    """As many as a list of texts cannot hold; in the usual run most are in a remark, and counted.

    Nothing but the count is made of a remark's, which takes a tenth of the time.
    """
    items = amount(100_000, 6_100_000)
    return "<si/>" * items + f"<!--{'<' * (6_100_000 - items)}-->"


# Name -> the book, and what its one sentence says; '' where it is read all the same.
HARM = {
    "ratio": (lambda: raw_book(sheet(" " * (33 * MIB))), "unpacks to more than 200 times its size"),
    "size": (lambda: claiming(1_600_000_000), "would unpack to 1.6 GB, more than 1.5 GB"),
    "parts": (lambda: raw_book(sheet(""), extra={f"x/{i}": "" for i in range(10_001)}),
              "parts, more than the 10,000 of any workbook"),
    "laughs": (lambda: raw_book(laughs()), DAMAGED),
    "external": (lambda: raw_book(sheet(row("&a;"),
                 '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>')), DAMAGED),
    "deep": (lambda: raw_book(sheet("<a>" * 900_000 + "</a>" * 900_000 + GOOD)), ""),
    "cells": (lambda: raw_book(sheet("<row>" + "<c/>" * 7_000_000 + "<c><v>1</v></c></row>")),
              BEYOND),
    "strings": (lambda: with_strings(f'<sst xmlns="{MAIN}">{too_many_items()}</sst>'), BEYOND),
    "formats": (lambda: raw_book(sheet(""), extra={"xl/styles.xml":
                f'<styleSheet xmlns="{MAIN}"><cellXfs>{"<xf/>" * 1_100_000}</cellXfs></styleSheet>'
                }), "lists more sheets or formats than any workbook: it was not read"),
    "corner": (lambda: raw_book(sheet('<row r="1048576"><c r="XFD1048576"><v>1</v></c></row>')),
               ""),
    "blank-rows": (lambda: raw_book(sheet("<row s=\"1\"/>" * 1_048_000)), ""),
    "merged": (lambda: raw_book(raw_sheet(HEAD, GOOD, after="<mergeCells>" +
               '<mergeCell ref="A2:XFD1048576"/>' * 200_000 + "</mergeCells>")), ""),
    "long-text": (lambda: with_strings(
        f'<sst xmlns="{MAIN}"><si><t>{"x" * 25_000_000}</t></si></sst>'), ""),
    "zeros": (lambda: raw_book(sheet(""), extra={
        f"x/{i}.bin": "\0" * (31 * MIB) for i in range(4)}), ""),
    "cut": (lambda: raw_book(sheet(""))[:-40], DAMAGED),
    "password": (lambda: b"\xd0\xcf\x11\xe0" + "EncryptedPackage".encode("utf-16-le"),
                 "is protected by a password: save it as .xlsx without a password."),
}  # fmt: skip


@pytest.mark.at_length(usual=1)
@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
@pytest.mark.parametrize("half", [0, 1])
def test_each_gives_one_sentence_within_limits_and_the_batch_goes_on(
    half: int, tmp_path: Path
) -> None:
    harm = dict([*HARM.items()][half::2])  # two tests, for two that run side by side
    folder = tmp_path / "books"
    folder.mkdir()
    for name, (make, _) in harm.items():
        (folder / f"{name}.xlsx").write_bytes(make())
    (folder / "zz-last.xlsx").write_bytes(workbook(clean_sheets()))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    done = bounded(folder, tmp_path / "out")
    assert done.code == 3
    assert done.peak < 2**30
    said = [line for line in done.stderr.splitlines() if line.startswith("siltbook: ")]
    for name, (_, sentence) in harm.items():
        lines = [line for line in said if f"{name}.xlsx" in line]
        assert len(lines) == (1 if sentence else 0), (name, lines)
        # On a slow machine the limit of time may come before the one that counts what is there.
        assert not sentence or sentence in lines[0] or (sentence == BEYOND and TOO_LONG in lines[0])
    results = {path.name for path in (tmp_path / "out").iterdir()}
    read = [name for name, (_, sentence) in harm.items() if not sentence]
    assert results == {f"{name}.reviewed.xlsx" for name in (*read, "zz-last")}
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before


@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
def test_a_book_of_ten_thousand_stations_goes_through_whole(tmp_path: Path) -> None:
    """In the usual run a quarter of them in a quarter of the memory."""
    count, folder = amount(2_500, 10_000), tmp_path / "books"
    folder.mkdir()
    register = raw_sheet(row("Station"), *(row(f"S{i}") for i in range(count)))
    visits = "".join(
        row(f"S{i}", "2026-05-31", "<c/>", "<c><v>3</v></c>", f"<c><v>{2.7 if i else 2}</v></c>")
        for i in range(count)
    )
    stations = {"xl/worksheets/sheet1.xml": register}
    (folder / "b.xlsx").write_bytes(raw_book(raw_sheet(HEAD, visits), extra=stations))
    done = bounded(folder, tmp_path / "out")
    assert done.stderr.replace("Books", "").strip() == ""
    assert f"{count - 1} of {count} stations need nothing now" in done.stdout
    assert done.code == 0
    assert done.peak < 2**30 * count / 10_000
    assert (tmp_path / "out" / "b.reviewed.xlsx").is_file()


def test_a_very_long_station_name_does_not_push_the_reasons_aside(tmp_path: Path) -> None:
    sheets = clean_sheets()
    long, head = "N" * 300, sheets["Readings"][0]
    sheets["Stations"].append([long])
    sheets["Readings"] = [head, [long, dt.date(2026, 5, 1), None, 9, 2]]
    (tmp_path / "b.xlsx").write_bytes(workbook(sheets))
    said = command("run", tmp_path / "b.xlsx").stdout
    assert f"  {'N' * 39}…  " in said
    assert "N" * 40 not in said.split("…")[0]


def command(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


def refused(result: Result, sentence: str, code: int = 3) -> None:
    assert result.exit_code == code
    (line,) = [line for line in result.stderr.splitlines() if line != "Books"]
    assert line.startswith("siltbook: ")
    assert sentence in line


def test_too_many_rows_of_one_list(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("siltbook.batch.reading.filled.MAX_ROWS", 3)
    (tmp_path / "b.xlsx").write_bytes(workbook(clean_sheets()))
    sentence = "b.xlsx, sheet Readings: 4 filled rows; accepted: up to 3. Split the book by season."
    refused(command("check", tmp_path / "b.xlsx"), sentence)


def test_a_column_of_errors_does_not_drown_the_book() -> None:
    rows = [["F1", dt.date(2026, 5, 1), None, "x", 2]] * 2_100
    sheets = clean_sheets()
    sheets["Readings"] = [sheets["Readings"][0], *rows]
    found = [f for f in read_book(workbook(sheets), "b.xlsx").findings if f.rule != "reading-twice"]
    assert len(found) == 2_000
    assert "(further ones in this column are not listed)" in found[-1].message


def test_a_folder_named_like_a_book(tmp_path: Path) -> None:
    folder = tmp_path / "a.xlsx"
    folder.mkdir()
    refused(command("run", folder), "a.xlsx: no workbook (.xlsx, .xlsm, .ods, .xls) in this folder")
    (tmp_path / "b.xlsx").write_bytes(workbook(clean_sheets()))
    assert command("run", tmp_path).exit_code == 0


def test_symbolic_links(tmp_path: Path) -> None:
    book = tmp_path / "real" / "b.xlsx"
    book.parent.mkdir()
    book.write_bytes(workbook(clean_sheets()))
    link, gone, loop = (tmp_path / f"{name}.xlsx" for name in ("link", "gone", "loop"))
    link.symlink_to(book)
    gone.symlink_to(tmp_path / "nowhere.xlsx")
    loop.symlink_to(loop)
    assert command("run", link).exit_code == 0
    assert (tmp_path / "link.reviewed.xlsx").is_file()
    for path in (gone, loop):
        refused(command("run", path), "where nothing can be reached. Bring that drive")
    # A link that waits where the result goes is replaced; what it leads to is not.
    victim = tmp_path / "victim.txt"
    victim.write_text("mine")
    trap = tmp_path / "out" / "link.reviewed.xlsx"
    trap.parent.mkdir()
    trap.symlink_to(victim)
    assert command("run", link, "--out", trap.parent).exit_code == 0
    assert victim.read_text() == "mine"
    assert not trap.is_symlink()


def test_no_name_leads_out_of_the_results_folder(tmp_path: Path) -> None:
    names = ("..xlsx", "a..b.xlsx", "%2e%2e%2fx.xlsx", "-rf.xlsx", "=cmd.xlsx", "a\\..\\b.xlsx")
    inside = tmp_path / "in"
    inside.mkdir()
    for name in names:
        (inside / name).write_bytes(workbook(clean_sheets()))
    out = tmp_path / "out"
    paths = [inside / name for name in names]
    assert command("run", *paths, "--out", out).exit_code == 0
    assert len(list(out.iterdir())) == len(names)
    assert {p.name for p in tmp_path.iterdir()} == {"in", "out"}
    assert len(list(inside.iterdir())) == len(names)


@pytest.mark.parametrize("words", [("check",), ("run",)])
def test_no_permission(words: tuple[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("a.xlsx", "b.xlsx"):
        (tmp_path / name).write_bytes(workbook(clean_sheets()))
    forbid_reading(monkeypatch, "a.xlsx")
    result = command(*words, tmp_path)
    refused(result, "a.xlsx: cannot be read (Permission denied). Check the file's permissions.")
    assert "b.xlsx" in result.stdout


def test_a_folder_without_permission(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def guarded(path: Path) -> Iterator[Path]:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "iterdir", guarded)
    refused(command("run", tmp_path), "cannot be read (Permission denied). Check the folder's")


@pytest.mark.parametrize("lock", ["~$b.xlsx", ".~lock.b.xlsx#"])
def test_lock_files_are_passed_over_and_said(lock: str, tmp_path: Path) -> None:
    (tmp_path / "b.xlsx").write_bytes(workbook(clean_sheets()))
    (tmp_path / lock).write_bytes(b"\x05Ana" + bytes(100))
    for words in (("check", tmp_path), ("run", tmp_path)):
        result = command(*words)
        assert result.exit_code in (0, 1)
        assert result.stdout.count("is open in a spreadsheet program") == 1
    refused(command("check", tmp_path / lock), "is the lock file of an open workbook, not the")


PAYLOADS = (
    "=cmd|'/c calc'!A1", "+1+cmd", "-2+cmd", "@SUM(cmd)", "\t=cmd", "http://cmd.invalid/x",
    "mailto:cmd@invalid", "internal:cmd!A1", "external:cmd.xlsx", "<r><t>cmd</t></r>",
    '=HYPERLINK("http://cmd.invalid")', "{=cmd}", "cmd_x0041_",
)  # fmt: skip


def assert_stays_text(parts: dict[str, str]) -> None:
    """No payload is part of a formula, a link's target or markup in any of these parts."""
    for name, xml in parts.items():
        formulas = re.findall(r"<(?:x?f|c:f|formula[12]?)(?: [^>]*)?>([^<]*)<", xml)
        assert not [text for text in formulas if "cmd" in text], name
        assert 'TargetMode="External"' not in xml, name
        assert not [link for link in re.findall(r"<hyperlink [^>]*>", xml)
                    if "cmd" in re.sub(r'(?:display|tooltip)="[^"]*"', "", link)], name  # fmt: skip
        assert not [run for run in re.findall(r"<r>.*?</r>", xml) if "cmd" in run], name


def poisoned() -> bytes:
    """A book with a payload in every cell that takes text, a different one in each row."""
    day = dt.date(2026, 5, 1)
    usual: dict[str, object] = {"date": day, "inlet": 9.0, "outlet": 2.0, "work": "flush", "ph": 7}
    rows: dict[str, list[dict[str, object]]] = {}
    for one in LISTS:
        texts = [c.key for c in one.columns if c.kind is Kind.TEXT and c.key != "station"]
        rows[one.name] = []
        for payload in PAYLOADS:
            made: dict[str, object] = {k: v for k, v in usual.items() if one.has(k)}
            made |= dict.fromkeys(texts, payload)
            if one.has("station"):
                made["station"] = payload.strip()
            rows[one.name].append(made)
    rows["Readings"] += [{"station": f"{p} nobody", "date": day, "inlet": 3, "outlet": 2}
                         for p in PAYLOADS]  # fmt: skip
    return build(BlankOptions(), rows, {"farm": PAYLOADS[0], "currency": PAYLOADS[1]})


def test_nothing_typed_becomes_a_formula_a_link_or_markup_on_any_result_sheet() -> None:
    book = poisoned()
    package = review_bytes(book, "=cmd.xlsx", "=cmd.xlsx").package
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        theirs = set(archive.namelist())
    with zipfile.ZipFile(io.BytesIO(package)) as archive:
        parts = {n: archive.read(n).decode() for n in archive.namelist() if n not in theirs}
    sheets = {n: xml for n, xml in parts.items() if "/worksheets/sheet" in n}
    sheets = {n: xml for n, xml in sheets.items() if "_rels" not in n}
    assert len(sheets) == len(RESULT_SHEETS)
    told = "".join(sheets.values())
    assert told.count("cmd") > len(PAYLOADS) * 5
    assert_stays_text(parts)
