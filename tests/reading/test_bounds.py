"""Books made to cost time or memory: each family found so far, rebuilt small, judged in a child.

Every book is judged by `run`'s own way in a child whose time and memory are measured there: under
10 s and 1 GiB, read or refused in one sentence.
"""

from __future__ import annotations

import io
import random
import re
import sys
import zipfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from siltbook.batch import child, guard, many
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from tests.amount import amount
from tests.reading.books import (
    HEAD,
    MAIN,
    TYPES,
    clean_sheets,
    raw_book,
    raw_sheet,
    row,
    text_cell,
    workbook,
)
from tests.reading.test_hostile import GOOD, sheet, with_strings

MIB = 2**20
SST = f'<sst xmlns="{MAIN}">'


@cache
def common() -> str:
    return "".join(random.Random(7).choices("abcdefgh ", k=MIB))


def noise(length: int) -> str:
    """Text that packs to about half: no ratio gives it away."""
    return (common() * (length // MIB + 1))[:length]


def packed(method: int) -> bytes:
    """A book with one part packed in this way."""
    target = io.BytesIO()
    plain = raw_book(sheet(""))
    with zipfile.ZipFile(io.BytesIO(plain)) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            big = name.endswith("sheet2.xml")
            new.writestr(name, text + b" " * (8 * MIB if big else 0), method if big else 8)
    return target.getvalue()


def shared(cells: int, length: int, items: int = 1) -> bytes:
    """A book whose remarks are all the same few long texts."""
    strings = SST + "".join(f"<si><t>{noise(length)}</t></si>" for _ in range(items)) + "</sst>"
    head = HEAD.replace("</row>", text_cell("Remark") + "</row>")
    rows = "".join(
        row("F1", "2026-05-31", "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>",
            f'<c t="s"><v>{i % items}</v></c>')
        for i in range(cells)
    )  # fmt: skip
    return with_strings(strings, raw_sheet(head, rows))


def dates(text: str, cells: int, beside: str = "") -> bytes:
    """A book with this text in many date cells; `beside` it what does not pack as well."""
    line = row("F1", text, "<c/>", "<c><v>3</v></c>", "<c><v>2</v></c>")
    return raw_book(sheet(line * cells + f"<!--{beside}-->"))


def actions() -> bytes:
    """Forty agreed actions, each as long as a cell can be."""
    made = clean_sheets()
    made["Agreed"] += [["F1", noise(32_000), "Ana", None]] * 40
    return workbook(made)


def overrides() -> bytes:
    """Very many parts, and far more entries in the list of types."""
    named = "".join(f'<Override PartName="/x/{i}.xml" ContentType="a/b"/>' for i in range(60_000))
    types = TYPES.replace("</Types>", named + "</Types>")
    assert len(types) > len(named)
    return raw_book(
        sheet(""), extra={"[Content_Types].xml": types, **{f"x/{i}.xml": "" for i in range(9_900)}}
    )


def formats(code: str, count: int) -> bytes:
    """A book with these number formats."""
    made = "".join(f'<numFmt numFmtId="{i + 200}" formatCode="{code}"/>' for i in range(count))
    used = "".join(f'<xf numFmtId="{i + 200}"/>' for i in range(count))
    return raw_book(sheet(""), extra={"xl/styles.xml":
        f'<styleSheet xmlns="{MAIN}"><numFmts>{made}</numFmts><cellXfs>{used}</cellXfs>'
        "</styleSheet>"})  # fmt: skip


def head(times: int) -> bytes:
    """A sheet whose XML declaration says its encoding again and again."""
    said = 'encoding="UTF-8" ' * times
    text = f'<?xml version="1.0" {said}?>{raw_sheet(HEAD, GOOD)}'
    return raw_book(text)


def media(size: int) -> bytes:
    """A book with a large picture."""
    return raw_book(sheet(""), extra={"xl/media/image1.png": noise(size)})


# Family -> the book, and a part of its one sentence; '' where it is judged all the same.
FAMILIES: dict[str, tuple[Callable[[], bytes], str]] = {
    "repeated pseudo-attribute": (lambda: head(25_000), "is damaged"),
    "brackets in a number format": (lambda: formats("[" * 20_000, 20), ""),
    "number formats by the thousand": (lambda: formats("[red" * 60, 20_000), ""),
    "parts against overrides": (overrides, ""),
    "a comment among shared strings": (
        lambda: with_strings(f"{SST}<!--{noise(48 * MIB)}--></sst>"),
        "holds a piece of text longer than any workbook",
    ),
    "text in date cells": (lambda: dates("1 " * 16_000, 900), ""),
    "digits in date cells": (lambda: dates("1" * 32_000, 900), ""),
    "weekdays in date cells": (lambda: dates("mon, " * 6_000, 900), ""),
    "accents in date cells": (lambda: dates("a" + "\u0301\u0323" * 10_000, 2_000, noise(MIB)), ""),
    "long texts": (lambda: dates(noise(32_000), 5_000), "holds more text than any season's"),
    "long actions": (actions, ""),
    "bzip2": (lambda: packed(zipfile.ZIP_BZIP2), "is packed in a way that workbooks do not use"),
    "lzma": (lambda: packed(zipfile.ZIP_LZMA), "is packed in a way that workbooks do not use"),
    "one string in many remarks": (lambda: shared(2_000, MIB), "characters of text"),
    "one string in very many remarks": (lambda: shared(20_000, 32_000), "characters of text"),
    "shared text": (lambda: shared(10, 32_000, 2_500), "holds more text than any season's"),
    "a text of one part": (
        lambda: raw_book(sheet(row(noise(100 * MIB)))), ""
    ),
    "a large picture": (lambda: media(60 * MIB), ""),
}  # fmt: skip


@pytest.mark.at_length(
    keep=("repeated", "brackets", "text in date", "one string in many", "a large picture")
)
@pytest.mark.skipif(sys.platform != "linux", reason="the limits are Linux's")
@pytest.mark.parametrize("family", FAMILIES)
def test_each_family_is_judged_or_refused_within_ten_seconds_and_a_gibibyte(
    family: str, saved_by_forking: float
) -> None:
    make, said = FAMILIES[family]
    data = make()
    job = many.Job(data, "in/odd.xlsx", "odd.xlsx", "odd.reviewed.xlsx", None)
    limits = child.Limits(guard.SECONDS, guard.MEMORY)
    answer = child.call("siltbook.batch.many:judge", job, limits=limits)
    assert saved_by_forking + answer.spent.seconds < guard.SECONDS
    assert 0 < answer.spent.memory < guard.MEMORY
    assert answer.value.fault is None, answer.value.fault
    assert said in answer.value.failure
    assert bool(said) == bool(answer.value.failure), answer.value.failure
    assert "\n" not in answer.value.failure


def test_books_that_people_fill_look_usual() -> None:
    root = Path(__file__).parents[2]
    books = [*root.glob("sample_workbooks/**/*.xlsx"), *root.glob("templates/*.xlsx"),
             *root.glob("tests/kept/**/*.xlsx")]  # fmt: skip
    assert len(books) > 12
    assert [book.name for book in books if guard.unusual(book.read_bytes())] == []


@pytest.mark.parametrize(
    "make",
    [lambda: formats("0" * 60, 30_000), overrides, lambda: media(12 * MIB),
     lambda: dates("1 " * 16_000, 900)],
    ids=["a long list", "many parts", "a large file", "packed too well"],
)  # fmt: skip
def test_a_book_unlike_those_looks_unusual(make: Callable[[], bytes]) -> None:
    assert guard.unusual(make())


COMMANDS = {
    "run": [],
    "check": [],
    "audit": [],
    "review": ["--month", "2026-05", "--no-pdf"],
    "archive": ["--to", "kept"],
}


@pytest.mark.usefixtures("real_child")
@pytest.mark.parametrize("command", COMMANDS)
def test_what_the_bounds_miss_ends_in_the_child_and_the_batch_goes_on(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "SECONDS", 0.01)
    monkeypatch.setattr(child, "LOOK", 0.02)
    monkeypatch.chdir(tmp_path)
    Path("endless.xlsx").write_bytes(overrides_small())
    Path("good.xlsx").write_bytes(workbook(clean_sheets()))
    done = CliRunner().invoke(main, [command, "endless.xlsx", "good.xlsx", *COMMANDS[command]])
    assert done.exit_code == 3, done.output
    assert [line for line in done.stderr.splitlines() if line.startswith("siltbook:")] == [
        "siltbook: endless.xlsx takes more time or memory than any season's workbook of its size: "
        "it was not read. Copy its sheets into a new workbook and give me that file."
    ]
    assert "good" in done.stdout or "Invented" in done.stdout


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("command", COMMANDS)
def test_an_unusual_book_that_is_honest_is_judged_as_any(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("many.xlsx").write_bytes(overrides_small())
    done = CliRunner().invoke(main, [command, "many.xlsx", *COMMANDS[command]])
    assert done.exit_code == 0, done.output
    assert not done.stderr


def overrides_small() -> bytes:
    """An honest book with more parts than usual."""
    return crowded(workbook(clean_sheets()))


def crowded(plain: bytes) -> bytes:
    """A book with more parts than usual, and else as it was."""
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(plain)) as old, zipfile.ZipFile(target, "w", 8) as new:
        for name in old.namelist():
            new.writestr(name, old.read(name))
        for number in range(guard.MOST_PARTS + 1):
            new.writestr(f"customXml/{number}.bin", b"")
    return target.getvalue()


@pytest.mark.usefixtures("real_child")
@pytest.mark.parametrize(
    ("function", "argument", "limits"),
    [
        ("time:sleep", 60, child.Limits(0.05, 2**30)),
        ("builtins:sum", range(10**12), child.Limits(0.3, 2**30)),
        ("builtins:list", range(10**10), child.Limits(20, 2**27)),
        ("os:abort", None, child.Limits(20, 2**30)),
    ],
    ids=["sleeps", "computes", "grows", "dies"],
)
def test_a_child_that_goes_beyond_its_limits_is_ended(
    function: str, argument: object, limits: child.Limits
) -> None:
    with pytest.raises(child.EndlessError):
        child.call(function, *([] if argument is None else [argument]), limits=limits)


@pytest.mark.usefixtures("real_child")
def test_what_a_child_meets_is_handed_back() -> None:
    limits = child.Limits(20, 2**30)
    assert child.call("math:sqrt", 4.0, limits=limits).value == 2.0
    with pytest.raises(child.FaultError, match="ValueError: math domain error"):
        child.call("math:sqrt", -1.0, limits=limits)
    with pytest.raises(BookError, match=r"^odd\.xlsx is empty"):
        child.call("siltbook.batch.package.opened:open_package", b"", "odd.xlsx", limits=limits)


PARTS = ("xl/_rels/workbook.xml.rels", "[Content_Types].xml", "xl/styles.xml",
         "xl/sharedStrings.xml", "xl/workbook.xml", "xl/tables/table1.xml")  # fmt: skip
VALUES = ("", "0", "-1", "9" * 5_000, "1.5", "A1:A0", "XFD1048577", "rId0", "../../x", "\ufeff",
          "1e400", "true", "&#x202e;", "x" * 40_000)  # fmt: skip


def mutated(xml: str, dice: random.Random) -> str:
    """A part with elements repeated, taken out or moved, and attributes given odd values."""
    for _ in range(dice.randint(1, 4)):
        tags = list(re.finditer(r"<[a-zA-Z][^<>]*/>", xml))
        attributes = list(re.finditer(r'="[^"<>]*"', xml))
        if not tags or not attributes:
            break
        tag, attribute = dice.choice(tags), dice.choice(attributes)
        how = dice.randrange(4)
        if how == 0:
            xml = xml[: tag.end()] + tag[0] * dice.choice((1, 50, 5_000)) + xml[tag.end() :]
        elif how == 1:
            xml = xml[: tag.start()] + xml[tag.end() :]
        elif how == 2:
            value = dice.choice((*VALUES, dice.choice(attributes)[0][2:-1]))
            xml = f'{xml[: attribute.start()]}="{value}"{xml[attribute.end() :]}'
        else:
            other = dice.choice(tags)
            xml = xml[: other.start()] + tag[0] + xml[other.start() :]
    return xml


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("seed", range(amount(12, 24)))
def test_any_change_to_the_structure_of_a_part_is_judged_or_refused_in_time(seed: int) -> None:
    """Relationships, types, styles, texts, names, tables; `SILTBOOK_FUZZ` asks for more."""
    dice = random.Random(seed)
    sample = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
    target = io.BytesIO()
    part = PARTS[seed % len(PARTS)]
    with zipfile.ZipFile(sample) as old, zipfile.ZipFile(target, "w", 8) as new:
        assert part in old.namelist()
        for name in old.namelist():
            text = old.read(name)
            new.writestr(name, mutated(text.decode(), dice) if name == part else text)
    job = many.Job(target.getvalue(), "in/odd.xlsx", "odd.xlsx", "odd.reviewed.xlsx", None)
    limits = child.Limits(guard.SECONDS, guard.MEMORY)
    answer = child.call("siltbook.batch.many:judge", job, limits=limits)
    assert answer.value.fault is None, answer.value.fault.trace
    assert bool(answer.value.package) != bool(answer.value.failure)
    assert answer.spent.memory < guard.MEMORY
