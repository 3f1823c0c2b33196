"""Archives that mean harm: one clear sentence each, within limits, and the others are checked."""

from __future__ import annotations

import io
import json
import os
import shutil
import socket
import struct
import sys
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.archive import manifest
from siltbook.batch.archive.folder import PACKAGE
from siltbook.batch.archive.rebuild import alike, same_book
from siltbook.batch.archive.verify import verify
from tests.amount import few, some
from tests.archive.forging import lack_memory, measured, redescribe, reseal
from tests.reading.books import Quick

MIB = 2**20
REVIEWED = "east-2026.reviewed.xlsx"
WRITTEN = "it is not a manifest that this program wrote."
AGAIN = "differs from what the workbook gives when it is judged again."


Content = bytes | str | Callable[[], bytes | str]  # what is long is made when it is needed


def text(name: str, content: Content) -> Callable[[Path], object]:
    """Put this in the place of one file."""

    def put(archive: Path) -> None:
        made = content() if callable(content) else content
        (archive / name).write_bytes(made.encode() if isinstance(made, str) else made)

    return put


def sealed(name: str, content: Content) -> Callable[[Path], object]:
    """The same, and make the manifest anew."""
    put = text(name, content)
    return lambda archive: (put(archive), reseal(archive))


def described(name: str, content: Content) -> Callable[[Path], object]:
    """The same, and make the descriptor anew, too."""
    put = text(name, content)
    return lambda archive: (put(archive), redescribe(archive))


def sparse(name: str, size: int) -> Callable[[Path], object]:
    """A file that claims a size and takes no room."""

    def make(archive: Path) -> None:
        with (archive / name).open("wb") as file:
            file.truncate(size)

    return make


def instead(name: str, make: Callable[[Path], object]) -> Callable[[Path], object]:
    """Something else in the place of a file or folder."""

    def put(archive: Path) -> None:
        at = archive / name
        shutil.rmtree(at) if at.is_dir() else at.unlink(missing_ok=True)
        make(at)

    return put


def repacked(repeats: int = 1) -> Callable[[Path], object]:
    """The stored reviewed workbook packed anew; `repeats` MiB of zeros for its list of sheets."""

    def make(archive: Path) -> None:
        path = archive / REVIEWED
        path.write_bytes(packed_anew(path.read_bytes(), repeats))
        reseal(archive)

    return make


@cache
def packed_anew(book: bytes, repeats: int) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, \
            Quick(target, "w", zipfile.ZIP_DEFLATED) as new:  # fmt: skip
        for name in old.namelist():
            bomb = repeats > 1 and name == "xl/workbook.xml"
            with new.open(name, "w") as part:
                for _ in range(repeats if bomb else 1):
                    part.write(bytes(MIB) if bomb else old.read(name))
    return target.getvalue()


def lying(archive: Path) -> None:
    """A part that unpacks to 640 MiB and says that it is as long as the honest one."""
    with zipfile.ZipFile(archive / REVIEWED) as book:
        honest = book.getinfo("xl/workbook.xml").file_size
    repacked(640)(archive)
    data = bytearray((archive / REVIEWED).read_bytes())
    at = data.index(struct.pack("<I", 640 * MIB), data.rindex(b"xl/workbook.xml") - 40)
    data[at : at + 4] = struct.pack("<I", honest)
    (archive / REVIEWED).write_bytes(bytes(data))
    reseal(archive)


def many_parts(archive: Path) -> None:
    """As many entries as the size allows."""
    entry = struct.pack("<4s6H3I5H2I", b"PK\x01\x02", *([0] * 9), 1, *([0] * 6)) + b"x"
    count = 4 * (archive / REVIEWED).stat().st_size // len(entry)
    end = struct.pack("<4s4H2IH", b"PK\5\6", 0, 0, 0, 0, count * len(entry), 0, 0)
    (archive / REVIEWED).write_bytes(entry * count + end)
    reseal(archive)


def crowd(archive: Path) -> None:
    for number in range(3_000):
        (archive / f"x{number}").touch()


def deep(archive: Path) -> None:
    at = os.getcwd()
    try:
        os.chdir(archive)
        for _ in range(60):
            os.mkdir("d" * 200)
            os.chdir("d" * 200)
        Path("x").touch()
    finally:
        os.chdir(at)


def elsewhere(archive: Path) -> None:
    """The tables moved out of the archive, and a link to them in their place."""
    shutil.move(archive / "data", archive.parent / f".{archive.name}")
    (archive / "data").symlink_to(archive.parent / f".{archive.name}")


def claims(**changed: Any) -> Callable[[Path], object]:
    return lambda archive: reseal(archive, **changed)


def smuggled(archive: Path) -> None:
    (archive / "more.exe").write_bytes(b"MZ")
    reseal(archive)


def withheld(archive: Path) -> None:
    (archive / "verdicts.json").unlink()
    reseal(archive)


NESTED = '{"stations": ' + "[" * 200_000
NUMBERS = '{"stations": [{"station": ' + "1" * 5_000 + "}]}"
INVALID = "not valid by the Data Package standard: "
HEAD_FARM = "setting,value,unit,cell\r\n"
HEAD_RUNS = (
    "station,begins,ends,readings,rate_m_per_day,slowest,fastest,believable,why,ended_by,"
    "concluded,given_back,rows\r\n"
)

# Name -> what is done to the archive, and what its lines say; '' where it is whole all the same.
HARM: dict[str, tuple[Callable[[Path], object], str]] = {
    "manifest-large": (sparse("manifest.json", 3 * 2**30), "holds more than 1,024 MiB, beyond any"),
    "manifest-middling": (sparse("manifest.json", 3 * MIB), "manifest.json: it is larger than any"),
    "manifest-deep": (text("manifest.json", lambda: "[" * 900_000), WRITTEN),
    "manifest-many": (text("manifest.json", lambda: '{"files": [' + "[]," * 300_000), WRITTEN),
    "manifest-twice": (text("manifest.json", '{"files": [], "files": []}'), WRITTEN),
    "manifest-digits": (text("manifest.json", lambda: '{"files": ' + "9" * 900_000 + "}"), WRITTEN),
    "manifest-types": (text("manifest.json", '{"files": [{"path": [], "sha256": {}}]}'), WRITTEN),
    "manifest-nan": (text("manifest.json", '{"files": NaN}'), WRITTEN),
    "manifest-pipe": (instead("manifest.json", os.mkfifo), "manifest.json: it is not an ordinary"),
    "manifest-folder": (instead("manifest.json", os.mkdir), "manifest.json: it is missing."),
    "manifest-link": (instead("manifest.json", lambda at: at.symlink_to("/etc/passwd")),
                      "manifest.json: it is a symbolic link, which is not followed."),
    "manifest-date": (claims(as_of="2149-12-31"), AGAIN),
    "manifest-year": (claims(as_of="9999-12-31"), WRITTEN),
    "manifest-book": (claims(book="data/farm.csv"), "cannot be judged again: "),
    "crowd": (crowd, "holds more than 2,000 files, far beyond any that an archive holds"),
    "deep": (deep, "cannot be read (File name too long)."),
    "large": (sparse("x.bin", 2 * 2**30), "holds more than 1,024 MiB, beyond any"),
    "elsewhere": (elsewhere, "data: a symbolic link, which is not followed."),
    "loop": (instead("data/x", lambda at: at.symlink_to("..")), "data/x: a symbolic link, which"),
    "pipe": (instead("data/runs.csv", os.mkfifo), "data/runs.csv: not an ordinary file."),
    "added-pipe": (instead("pipe", os.mkfifo), "pipe: not an ordinary file."),
    "folder": (instead("verdicts.json", os.mkdir), "verdicts.json: missing."),
    "smuggled": (smuggled, "more.exe: the workbook gives no such file when it is judged again."),
    "withheld": (withheld, "verdicts.json: is not listed, although the workbook gives it."),
    "verdicts-deep": (sealed("verdicts.json", NESTED), "verdicts.json: it is no JSON that this"),
    "verdicts-many": (sealed("verdicts.json", lambda: '{"stations": [' + "[]," * (20 * MIB)),
                      "verdicts.json: it holds more values than any that this program writes."),
    "verdicts-digits": (sealed("verdicts.json", NUMBERS), "verdicts.json: it holds a number that"),
    "verdicts-large": (sealed("verdicts.json", lambda: b" " * (65 * MIB)),
                       "verdicts.json: it is larger than any that this program writes."),
    "verdicts-types": (sealed("verdicts.json", '{"stations": 3}'),
                       "verdicts.json: it does not say a verdict for each station."),
    "package-deep": (sealed(PACKAGE, "[" * 150_000), f"{PACKAGE}: it is no JSON that this program"),
    "package-large": (sealed(PACKAGE, lambda: b" " * (5 * MIB)),
                      f"{PACKAGE}: it is larger than any"),
    "text-digits": (sealed("READ-ME-FIRST.txt", lambda: "1" * 4_000), AGAIN),
    "text-large": (sealed("READ-ME-FIRST.txt", lambda: "1" * (3 * MIB)), AGAIN),
    "table-large": (described("data/readings.csv", lambda: b"1,2\r\n" * (15 * MIB)), AGAIN),
    "table-wide": (described("data/farm.csv", lambda: HEAD_FARM + "," * 900_000),
                   f"data/farm.csv: {INVALID}row 2 has 900,001 cells and not 4"),
    "table-columns": (described("data/farm.csv", lambda: ",".join(f"a{i}" for i in range(900_000))),
                      f"data/farm.csv: {INVALID}the columns are not those that are described"),
    "table-cell": (described("data/farm.csv",
                             lambda: HEAD_FARM + "a," + "x" * (15 * MIB) + ",\U0001f4a7,"),
                   "data/farm.csv: differs"),
    "table-bytes": (described("data/farm.csv", lambda: b"\xff\xfe\0\0" * 5_000),
                    f"data/farm.csv: {INVALID}it is not UTF-8"),
    "table-digits": (described("data/runs.csv",
                               lambda: HEAD_RUNS + "E1,,," + "9" * (4 * MIB) + "," * 9),
                     f"data/runs.csv: {INVALID}row 2, column readings: no integer, read '9999"),
    "table-power": (described("data/runs.csv", lambda: HEAD_RUNS + "E1,,,1e99999999999" + "," * 9),
                    f"data/runs.csv: {INVALID}row 2, column readings: no integer, read '1e999"),
    "table-quote": (described("data/farm.csv", lambda: HEAD_FARM + '"' + "a\n" * 200_000),
                    f"data/farm.csv: {INVALID}it is no table with commas (unexpected end of data)"),
    "table-guess": (described("data/farm.csv", lambda: HEAD_FARM + ';"a' * (5 * MIB)),
                    f"data/farm.csv: {INVALID}row 2 has 1 cells and not 4"),
    "book-bomb": (repacked(640), AGAIN),
    "book-parts": (many_parts, AGAIN),
    "book-lying": (lying, AGAIN),
    "book-garbage": (sealed(REVIEWED, lambda: os.urandom(100_000)), AGAIN),
    "own-book-large": (lambda archive: (sparse("east-2026.xlsx", 129 * MIB)(archive),
                                        reseal(archive)),
                       "east-2026.xlsx: larger than any workbook that an archive holds."),
    "own-book": (sealed("east-2026.xlsx", lambda: b"PK" + b"\0" * 100), "cannot be judged again: "),
    "packed-anew": (repacked(), ""),
}  # fmt: skip


def lines_of(said: str, archive: Path) -> str:
    """What the check of many archives said of this one."""
    lines = said.splitlines(keepends=True)
    own = (n for n, line in enumerate(lines) if line.startswith(f"{archive}: "))
    after = (n for n, line in enumerate(lines) if not line.startswith("  "))
    begin = next(own, len(lines))
    return "".join(lines[begin : next((n for n in after if n > begin), len(lines))])


@pytest.mark.at_length(usual=1)
@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
@pytest.mark.parametrize("half", [0, 1])
def test_each_gives_one_sentence_within_limits_and_the_others_are_checked(
    half: int, kept: Path, tmp_path: Path
) -> None:
    mean = dict(few([*HARM.items()][half::2], 9))  # two tests, for two that run side by side
    home = tmp_path / "home"
    for name, (harm, _) in mean.items():
        shutil.copytree(kept / "east-2026", home / name)
        harm(home / name)
    shutil.copytree(kept / "east-2026", home / "zz-last")
    # The check of all together says the sentence of each; a sample is checked alone as well.
    alone = some(list(mean), 2)
    *each, together, season = measured(
        *(("verify", home / name) for name in alone),
        ("verify", home), ("season", home, "--template", tmp_path / "next.xlsx"),
        anew=len(alone),
    )  # fmt: skip
    for name, (_, sentence) in mean.items():
        said = lines_of(together.said, home / name)
        assert (": whole and unchanged" in said) == (not sentence), (name, said)
        assert sentence in said, (name, said)
        assert len(said.splitlines()) < 30, name
    assert not together.refused
    for name, one in zip(alone, each, strict=True):
        sentence = HARM[name][1]
        assert one.seconds < 10, name
        assert one.peak < 2**30, name
        assert one.code == (1 if sentence else 0), (name, one)
        assert sentence in one.said, (name, one.said)
        assert len(one.said.splitlines()) < 30, name
        assert not one.refused, name
        assert one.said in together.said, name
    assert f"{home / 'zz-last'}: whole and unchanged; 18 files" in together.said
    assert (together.code, together.peak < 2**30) == (1, True)
    assert season.code == 3
    assert season.peak < 2**30
    assert not (tmp_path / "next.xlsx").exists()


def forged(key: str, value: Any, *, at: str = "resource") -> Callable[[dict[str, Any]], None]:
    """Set one key of the descriptor: of the package, its first table, a column, its limits."""

    def change(document: dict[str, Any]) -> None:
        table = document["resources"][0]
        where = {
            "package": document,
            "resource": table,
            "schema": table["schema"],
            "field": table["schema"]["fields"][0],
            "limits": table["schema"]["fields"][0].setdefault("constraints", {}),
        }[at]
        where[key] = value

    return change


SMUGGLED = [
    (forged("path", "https://example.invalid/x.csv"), "table farm: 'path' is not as"),
    (forged("path", "../../etc/passwd"), "table farm: 'path' is not as this program writes it."),
    (forged("path", "data/runs.csv"), "table farm: 'path' is not as this program writes it."),
    (forged("path", ["data/farm.csv"]), "table farm: 'path' is not as this program writes it."),
    (forged("name", "../x"), "table ../x: 'name' is not as this program writes it."),
    (forged("name", "other"), "it names data/other.csv, which is not in the archive."),
    (forged("extrapaths", ["/etc/passwd"]), "table farm: 'extrapaths' is no key that it can have."),
    (forged("data", [[1]]), "table farm: 'data' is no key that it can have."),
    (forged("scheme", "remote"), "table farm: 'scheme' is no key that it can have."),
    (forged("compression", "zip"), "table farm: 'compression' is no key that it can have."),
    (
        forged("checklist", {"checks": [{"type": "row-constraint", "formula": "1"}]}),
        "table farm: 'checklist' is no key",
    ),
    (forged("pipeline", {"steps": []}), "table farm: 'pipeline' is no key that it can have."),
    (forged("profile", "http://example.invalid/p.json"), "table farm: 'profile' is not as"),
    (forged("profile", "http://example.invalid/p.json", at="package"), "the package: 'profile'"),
    (forged("$schema", "http://example.invalid/p.json", at="package"), "'$schema' is no key"),
    (forged("made_by", "siltbook 99", at="package"), "the package: 'made_by' is not as"),
    (forged("resources", [], at="package"), "'resources' is not a list of 1 to 100."),
    (forged("resources", [3], at="package"), "a table: a key of it is missing, or it is no object"),
    (forged("format", "xlsx"), "table farm: 'format' is not as this program writes it."),
    (forged("encoding", "utf-7"), "table farm: 'encoding' is not as this program writes it."),
    (forged("dialect", {"delimiter": "a"}), "table farm: 'dialect' is not as"),
    (forged("dialect", "http://example.invalid/d.json"), "table farm: 'dialect' is not as"),
    (forged("schema", "http://example.invalid/s.json"), "table farm: a key of it is missing"),
    (forged("bytes", True), "table farm: 'bytes' is not as this program writes it."),
    (forged("bytes", 10**39), "table farm: 'bytes' is not as this program writes it."),
    (forged("bytes", 10**4000), "it holds a number that is none."),
    (forged("hash", "md5:0"), "table farm: 'hash' is not as this program writes it."),
    (forged("sources", [{"path": "http://example.invalid"}]), "table farm: 'sources' is not as"),
    (forged("title", {"a": 1}), "table farm: 'title' is not as this program writes it."),
    (forged("foreignKeys", [], at="schema"), "table farm: 'foreignKeys' is no key"),
    (forged("primaryKey", ["setting"], at="schema"), "table farm: 'primaryKey' is not as"),
    (forged("missingValues", ["a"], at="schema"), "table farm: 'missingValues' is not as"),
    (forged("fields", [], at="schema"), "table farm: 'fields' is not a list of 1 to 200."),
    (forged("type", "geojson", at="field"), "table farm, column setting: 'type' is not as"),
    (forged("type", ["string"], at="field"), "table farm, column setting: 'type' is not as"),
    (forged("format", "email", at="field"), "table farm, column setting: 'format' is not as"),
    (forged("name", "a" * 5_000, at="field"), "table farm: 'name' is not as"),
    (forged("x" * 9_000, 1, at="field"), "…' is no key that it can have."),
    (forged("pattern", "(a+)+$", at="limits"), "column setting: 'pattern' is no key"),
    (forged("minimum", 1, at="limits"), "column setting: 'minimum' is not as"),
    (forged("enum", [1], at="limits"), "column setting: 'enum' is not as"),
    (forged("required", "yes", at="limits"), "column setting: 'required' is not as"),
    (forged("x\ud800\x1b[2J", 1), "is no key that it can have."),
]


@pytest.mark.parametrize(("change", "sentence"), SMUGGLED)
def test_a_descriptor_says_nothing_but_what_this_program_writes(
    change: Callable[[dict[str, Any]], None],
    sentence: str,
    archive: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refused(*_: object) -> None:
        raise AssertionError("the library was asked, or the net was")

    monkeypatch.setattr(socket, "socket", refused)
    monkeypatch.setattr("siltbook.batch.archive.standard.troubles", refused)
    redescribe(archive, change)
    (found,) = verify(archive, judge_again=False).troubles
    assert found.startswith(f"{PACKAGE}: ")
    assert sentence in found
    assert len(found) < 400


def test_what_the_library_itself_cannot_do_is_one_sentence(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from frictionless import Schema

    def broken(*_: object, **__: object) -> None:
        raise RecursionError("too deep")

    monkeypatch.setattr(Schema, "from_descriptor", broken)
    found = verify(archive, judge_again=False).troubles
    assert len(found) == 12
    said = "not valid by the Data Package standard: it could not be read (RecursionError)"
    assert found[0] == f"data/farm.csv: {said}"


def test_tables_too_large_for_the_library_are_left_to_the_comparison(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("siltbook.batch.archive.standard.MOST_CELLS", 100)
    found = verify(archive)
    assert found.troubles == ()
    assert found.notes == (
        "data/: the tables hold too much for the check against the Data Package standard; it "
        "was left out.",
    )


def test_comparing_takes_no_longer_than_the_text(archive: Path) -> None:
    """A run of digits takes an open repetition the square of its length."""
    digits = b"1" * 3_000_000
    assert not alike(digits, digits + b"1")
    assert not alike(b"1.5" * 1_000_000, b"1.5" * 1_000_001)
    assert not alike(b"-" * 3_000_000, b"-" * 2_999_999)
    assert not alike(b"1." * 1_500_000, b"1." * 1_500_001)


def test_numbers_alike_up_to_noise() -> None:
    assert alike(b"a 1.00000000000001 b 2.5", b"a 1.0 b 2.50")
    assert not alike(b"a 1.0001 b", b"a 1.0 b")
    assert not alike(b"a 1.0 b", b"a 1.0 c")
    assert not alike(b"a 1.0 b 2.0", b"a 1.0 b ")
    assert not alike(b"a 1.0 b ", b"a 1.0 b 2.0")
    assert not alike(b"a 1.0", b"a 1.0 b")
    assert not alike(b"version 1.2.3", b"version 1.2.30")


def test_a_page_that_differs_is_found_unless_another_library_made_it(
    kept: Path, archive: Path
) -> None:
    path = archive / "season-summary.pdf"
    honest = path.read_bytes()
    forged = (
        (b"East Farm", b"West Farm"),
        (b"/Type /Catalog", b"/Type /Catalog /OpenAction 1 0 R"),
        (b"/Producer (reportlab ", b"/Producer (\\x"),
        (b"%%EOF", b"%%EOF /Producer (reportlab 1)" + bytes(500_000)),
    )
    for old, new in few(forged, 1):
        assert old in honest
        path.write_bytes(honest.replace(old, new))
        reseal(archive)
        assert verify(archive).troubles == (f"{path.name}: {AGAIN}",)
    path.write_bytes(honest.replace(b"/Producer (reportlab ", b"/Producer (reportlab 0."))
    reseal(archive)
    found = verify(archive)
    assert found.troubles == ()
    (note,) = found.notes
    assert note.startswith("season-summary.pdf: not compared; it says that reportlab 0.")


def test_a_part_that_stands_twice_is_not_the_same_book(kept: Path) -> None:
    made = (kept / "east-2026" / REVIEWED).read_bytes()
    target = io.BytesIO(made)
    with pytest.warns(UserWarning, match="Duplicate name"), zipfile.ZipFile(target, "a") as book:
        book.writestr(book.namelist()[0], b"another")
    assert same_book(made, made)
    assert not same_book(target.getvalue(), made)


def test_a_file_that_cannot_be_read_is_named(
    archive: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened, listed = os.open, os.scandir

    def guarded(path: Any, *more: Any) -> int:
        if str(path).endswith("verdicts.json"):
            raise PermissionError(13, "Permission denied")
        return opened(path, *more)

    def closed(path: Any) -> Any:
        if str(path).endswith("data"):
            raise PermissionError(13, "Permission denied")
        return listed(path)

    monkeypatch.setattr(os, "open", guarded)
    monkeypatch.setattr(os, "scandir", closed)
    found = verify(archive).troubles
    assert "verdicts.json: cannot be read (Permission denied)." in found
    assert "data: cannot be read (Permission denied)." in found
    assert "data/runs.csv: missing." in found


@pytest.mark.at_length  # tests/review/test_hostile_review.py: no file name breaks the output
def test_a_name_of_no_letters_is_said_all_the_same(archive: Path) -> None:
    from click.testing import CliRunner

    from siltbook.batch.cli import main

    name = os.fsdecode(b"x\xff\x1b[2J")
    (archive / name).touch()
    for words in (["verify", str(archive)], ["verify", str(archive), "--json"]):
        said = CliRunner().invoke(main, words)
        assert said.exit_code == 1
        assert "\x1b" not in said.stdout
        assert r"x\udcff" in said.stdout.replace("\\\\", "\\")


def test_a_thousand_troubles_are_not_all_told(archive: Path) -> None:
    for number in range(100):
        (archive / f"x{number:03}").touch()
    found = verify(archive, judge_again=False).troubles
    assert len(found) == 21
    assert found[-1] == "and 80 more like this."


def test_a_manifest_lists_no_two_names_that_differ_in_capitals_only() -> None:
    listed = manifest.Manifest("1", "b.xlsx", None, {"b.xlsx": "0", "B.xlsx": "0"})
    with pytest.raises(manifest.ManifestError, match="differ in capitals only"):
        manifest.read(manifest.write(listed))


def test_memory_that_does_not_suffice_is_one_sentence_and_the_others_are_checked(
    kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from click.testing import CliRunner

    from siltbook.batch.archive import rebuild
    from siltbook.batch.cli import main

    lack_memory(monkeypatch, rebuild, "east-2025.xlsx")
    said = CliRunner().invoke(main, ["verify", str(kept), "--json"])
    assert said.exit_code == 3
    sentence = f"{kept / 'east-2025'}: too large for this machine's memory."
    assert said.stderr == f"siltbook: {sentence}\n"
    document = json.loads(said.stdout)
    assert document["failed"] == [{"path": str(kept / "east-2025"), "message": sentence}]
    assert [one["whole"] for one in document["archives"]] == [True]
