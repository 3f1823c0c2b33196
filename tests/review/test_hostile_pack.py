"""Packs that come back broken, edited or hostile: what is meant is carried, the rest refused."""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import openpyxl
import pytest

from siltbook.batch.errors import BookError
from siltbook.batch.review.agree import enter_agreed
from siltbook.batch.review.minutes import read_pack
from siltbook.batch.review.pack import make_pack, pack_bytes
from tests.effort import must_end
from tests.lint import lint
from tests.office import Shared, needs_office
from tests.reading.test_hostile import HARM
from tests.review.farms import JULY, book, month, opened
from tests.review.packs import HEADER, ROW, SPARE, edited, small_pack, text, typed, with_part
from tests.review.test_agree import NORTH, agreed, filled, header_row

NAME = "north-2026.xlsx"
CORRECT = "Correct it and run again; nothing was changed."
WORDS, DATE = "accepted: what was agreed, in words", "accepted: a date such as 2026-08-10"
PERSON = "accepted: a name"


def given(pack: bytes) -> Any:
    return enter_agreed(pack, "pack.xlsx", book("north"), NAME)


def refusal(pack: bytes) -> str:
    with pytest.raises(BookError) as caught:
        given(pack)
    said = str(caught.value)
    assert "\n" not in said
    assert said.startswith("pack.xlsx")
    return said


LOOK = text("Look")
FARM = {"Farm": "North Farm (invented)", "Station": "N1 Screen"}
CELLS = {
    "formula": ({"action": "<f>A1</f>"}, "H: read a formula without a stored value", WORDS),
    "error": ({"action": "e|<v>#REF!</v>"}, "H: read the error #REF!", WORDS),
    "yes": ({"action": "b|<v>1</v>"}, "H: read 'True', which is no text", WORDS),
    "number": ({"action": "<v>46000</v>"}, "H: read '46000', which is no text", WORDS),
    "long": ({"action": text("x" * 33_000)}, "H: read 33,000 characters, which is too long", WORDS),
    "who-error": ({"action": LOOK, "who": "e|<v>#NAME?</v>"}, "I: read the error #NAME?", PERSON),
    "who-formula": ({"who": "<f>A1</f>"}, "I: read a formula without a stored value", PERSON),
    "who-yes": ({"action": LOOK, "who": "b|<v>0</v>"}, "I: read 'False', which is no text",
                PERSON),
    "today": ({"action": LOOK, "by_when": "<f>TODAY()</f>"},
              "J: read a formula without a stored value", DATE),
    "due-error": ({"action": LOOK, "by_when": "e|<v>#VALUE!</v>"}, "J: read the error #VALUE!",
                  DATE),
    "due-yes": ({"action": LOOK, "by_when": "b|<v>1</v>"}, "J: read 'True', which is no date",
                DATE),
    "due-1900": ({"action": LOOK, "by_when": "<v>1</v>"}, "J: read '1', which is no date", DATE),
    "due-9999": ({"action": LOOK, "by_when": "<v>2958465</v>"},
                 "J: read '2958465', which is no date", DATE),
    "due-below-0": ({"action": LOOK, "by_when": "<v>-5</v>"}, "J: read '-5', which is no date",
                    DATE),
    "last-year": ({"action": LOOK, "by_when": "<v>45879</v>"},
                  "J: read 2025-08-10, which lies before 2026-07-01, the month reviewed", DATE),
    "next-century": ({"action": LOOK, "by_when": text("2126-08-10")},
                     "J: read 2126-08-10, which lies years ahead", DATE),
    "station": ({"action": LOOK, "station": "<f>A1</f>"},
                "B: read a formula without a stored value", "accepted: a station's name"),
    "book": ({"action": LOOK, "book": text("99")}, "K: read '99', no book of this pack",
             "accepted: the book's number as on the sheet About this pack, or nothing"),
}  # fmt: skip


@pytest.mark.at_length(usual=9)
@pytest.mark.parametrize("which", CELLS)
def test_nonsense_in_a_cell_is_refused_by_its_cell(which: str) -> None:
    cells, said, accepted = CELLS[which]
    column, _, rest = said.partition(":")
    wanted = f"pack.xlsx: Agenda!{column}{ROW}:{rest}; {accepted}"
    assert refusal(typed(**cells)) == f"{wanted}. {CORRECT}"


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("cells", "row"),
    [
        ({"action": "str|<f>B1</f><v>Look</v>"}, ("Look", None, None)),
        ({"action": text("Look"), "who": "<v>7</v>"}, ("Look", "7", None)),
        ({"action": text("a_x0007_b =1+1")}, ("ab =1+1", None, None)),
        ({"action": LOOK, "by_when": "<f>TODAY()</f><v>46244.75</v>"},
         ("Look", None, dt.date(2026, 8, 10))),
        ({"action": LOOK, "by_when": "d|<v>2026-08-10</v>"}, ("Look", None, dt.date(2026, 8, 10))),
        ({"action": LOOK, "book": "<v>1</v>"}, ("Look", None, None)),
    ],
)  # fmt: skip
def test_what_is_meant_without_doubt_is_taken(cells: dict[str, str], row: tuple[Any, ...]) -> None:
    done = given(typed(**cells))
    assert agreed(done.data)[4:] == [("N2 Screen", *row)]
    assert lint(done.data) == lint(book("north"))


def test_text_as_long_as_a_cell_holds_is_carried_whole() -> None:
    done = given(typed(action=text("x" * 32_000)))
    assert agreed(done.data)[4][1] == "x" * 32_000


Edit = Callable[[openpyxl.Workbook], Any]


def rename(old: str, new: str) -> Edit:
    return lambda book: setattr(book[old], "title", new)


def merge(span: str) -> Edit:
    return lambda book: book["Agenda"].merge_cells(span)


def write(column: int, row: int, value: object) -> Edit:
    return lambda book: setattr(book["Agenda"].cell(row, column), "value", value)


def hide_row(book: openpyxl.Workbook) -> None:
    book["Agenda"].row_dimensions[ROW].hidden = True


def copied(book: openpyxl.Workbook) -> None:
    book.copy_worksheet(book["Agenda"]).title = "Agenda (2)"


def emptied_copy(book: openpyxl.Workbook) -> None:
    copied(book)
    book["Agenda"].cell(ROW, 8).value = None


TAKEN: dict[str, Edit] = {
    "agenda-renamed": rename("Agenda", "Tagesordnung"),
    "about-renamed": rename("About this pack", "About"),
    "other-sheets-deleted": lambda book: book.remove(book["Forecast"]),
    "agenda-hidden": lambda book: setattr(book["Agenda"], "sheet_state", "hidden"),
    "row-hidden": hide_row,
    "column-inserted": lambda book: book["Agenda"].insert_cols(3),
    "book-column-deleted": lambda book: book["Agenda"].delete_cols(11),
    "header-in-capitals": write(8, HEADER, " ACTION "),
    "note-beside": write(14, ROW, "a note"),
    "merged-across": merge(f"B{ROW - 1}:B{ROW - 1}"),
    "moved-to-a-copy": emptied_copy,
}


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("which", TAKEN)
def test_a_pack_that_was_rearranged_is_still_understood(which: str) -> None:
    done = given(edited(TAKEN[which]))
    assert agreed(done.data)[4:] == [("N2 Screen", "Look", None, None)]


REFUSED: dict[str, tuple[Edit, str]] = {
    "no-agenda": (lambda book: book.remove(book["Agenda"]),
                  "pack.xlsx has no sheet Agenda (its sheets: What changed, Days over limit"),
    "no-about": (lambda book: book.remove(book["About this pack"]),
                 "pack.xlsx is no review pack (its sheet About this pack does not say so): give "
                 "first a pack that 'siltbook review' made, then the book."),
    "header": (write(8, HEADER, "Aktion"), f"pack.xlsx: the sheet Agenda lacks the header Action "
               f"in row {HEADER} (accepted: Farm, Station, Action, Who, By when). Put it back"),
    "two-headers": (write(13, HEADER, "Action"), "pack.xlsx: the sheet Agenda has the header "
                    f"Action more than once (H{HEADER}, M{HEADER}): rename all but one"),
    "two-agendas": (copied, "pack.xlsx: the sheets Agenda and Agenda (2) both hold an agenda with "
                    "rows filled in; delete or empty all but one"),
    "merged": (merge(f"H{ROW}:I{ROW + 1}"), f"pack.xlsx: Agenda!H{ROW}:I{ROW + 1} is merged over "
               "several rows, so it cannot be told whose answer it holds: unmerge it"),
    "note-below": (write(8, ROW + 15, "a note"), f"pack.xlsx: Agenda!A{ROW + 15} is empty in a "
                   "row that is filled in; write which farm it is for"),
}  # fmt: skip


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("which", REFUSED)
def test_a_pack_that_leaves_a_doubt_is_refused(which: str) -> None:
    edit, said = REFUSED[which]
    told = refusal(edited(edit))
    assert told.startswith(said)
    assert "nothing was changed" in told or "siltbook review" in told


def test_a_station_without_an_action_is_said() -> None:
    done = given(filled({SPARE: FARM, ROW: NORTH}, small_pack()))
    assert done.rows == (6,)
    assert done.idle == (f"Agenda!B{SPARE}",)


@pytest.mark.at_length  # cells with a number are taken above
def test_two_books_of_one_name_are_told_apart_by_their_number_alone() -> None:
    other = replace(month("north"), file="other.xlsx", fingerprint="0" * 64)
    data = pack_bytes(make_pack([month("north"), other], JULY, "test"))
    spare = header_row(data) + 3  # behind the two stations
    row = FARM | {"Action": "Look"}
    with pytest.raises(BookError) as caught:
        enter_agreed(filled({spare: row}, data), "pack.xlsx", book("north"), NAME)
    said = "which 2 books of this pack are called; write the book's number"
    assert f"pack.xlsx: Agenda!A{spare}: read 'North Farm (invented)', {said}" in str(caught.value)
    second = filled({spare: row | {"Book": "2"}}, data)
    done = enter_agreed(second, "pack.xlsx", book("north"), NAME)
    assert (done.rows, done.others) == ((), 1)
    done = enter_agreed(filled({spare: row | {"Book": 1}}, data), "pack.xlsx", book("north"), NAME)
    assert (done.rows, done.others) == ((6,), 0)


HARMFUL = ("ratio", "size", "parts", "laughs", "external", "password")


BYTES: dict[str, Callable[[], bytes]] = {
    "cut": lambda: small_pack()[: len(small_pack()) // 2],
    "empty": lambda: b"",
    "agenda-cut": lambda: with_part(lambda xml: xml[: len(xml) // 2]),
    "doctype": lambda: with_part(lambda xml: xml.replace(
        b"<worksheet", b'<!DOCTYPE a [<!ENTITY b "c">]><worksheet', 1)),
    "infinite": lambda: typed(action=LOOK, by_when="<v>1e999</v>"),
    "cells": lambda: with_part(lambda xml: xml.replace(
        b"</sheetData>", b"<row>" + b"<c/>" * 7_000_000 + b"</row></sheetData>")),
    "rows": lambda: with_part(lambda xml: xml.replace(
        b"</sheetData>", b"".join(b'<row r="%d"><c r="H%d"><v>1</v></c></row>' % (r, r)
                                  for r in range(100, 300_000)) + b"</sheetData>")),
    "corner": lambda: with_part(lambda xml: xml.replace(
        b"</sheetData>", b'<row r="1048576"><c r="H1048576"><v>1</v></c></row></sheetData>')),
    **{name: HARM[name][0] for name in HARMFUL},
}  # fmt: skip


@pytest.mark.at_length(drop="rows")
@pytest.mark.parametrize("which", BYTES)
def test_hostile_bytes_in_a_packs_place_are_refused_in_time(which: str) -> None:
    data = BYTES[which]()
    with must_end():
        refusal(data)


@pytest.mark.parametrize("which", HARMFUL)
def test_hostile_bytes_in_the_books_place_are_refused(which: str) -> None:
    with pytest.raises(BookError) as caught:
        enter_agreed(small_pack(), "pack.xlsx", HARM[which][0](), NAME)
    assert str(caught.value).startswith(NAME)


def test_the_two_files_given_the_wrong_way_round() -> None:
    with pytest.raises(BookError, match="give first a pack that 'siltbook review' made, then"):
        enter_agreed(book("north"), NAME, small_pack(), "pack.xlsx")
    with pytest.raises(BookError) as caught:
        enter_agreed(small_pack(), "pack.xlsx", small_pack(), "pack.xlsx")
    assert str(caught.value) == (
        "pack.xlsx is a review pack that 'siltbook review' made, not a farm's book: give the book "
        "it was made from."
    )


@needs_office
def test_a_pack_that_libreoffice_saved_in_its_own_format(office: Shared) -> None:
    data = filled({ROW: NORTH, SPARE: {"Action": "Plan a flush"} | FARM}, small_pack())
    done = given(*office.resaved(data, to="ods"))
    assert done.rows == (6, 7)
    assert agreed(done.data) == agreed(given(data).data)


def test_a_pack_counted_from_1904_gives_the_same_day() -> None:
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    workbook = opened(filled({ROW: NORTH}, small_pack()))
    workbook.epoch = CALENDAR_MAC_1904
    target = io.BytesIO()
    workbook.save(target)
    assert read_pack(target.getvalue(), "pack.xlsx").date1904
    assert agreed(given(target.getvalue()).data)[4][3] == NORTH["By when"]
