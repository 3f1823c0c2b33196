"""What the meeting fills in goes back to the book's sheet Agreed, and nothing else changes."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from functools import cache
from typing import Any

import openpyxl
import pytest
import xlsxwriter

from siltbook.batch.commands.shared import though_protected
from siltbook.batch.errors import BookError
from siltbook.batch.reading.book import read_book
from siltbook.batch.review.agree import Carried, enter_agreed
from siltbook.batch.review.append import append_rows
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.templates.blank import BlankOptions, build
from tests.amount import few
from tests.lint import lint
from tests.office import Shared, needs_office
from tests.review.farms import JULY, book, month, opened, pack_file

AUGUST = dt.date(2026, 8, 10)
SHEET, TABLE = "xl/worksheets/sheet6.xml", "xl/tables/table4.xml"


_FILLED: dict[tuple[str, bytes | None], bytes] = {}  # many tests fill in the same


def filled(rows: dict[int, dict[str, Any]], package: bytes | None = None) -> bytes:
    """The pack with cells of its Agenda filled in (row on the sheet -> header -> value)."""
    key = repr(rows), package
    if key not in _FILLED:
        _FILLED[key] = _fill(rows, package)
    return _FILLED[key]


def _fill(rows: dict[int, dict[str, Any]], package: bytes | None) -> bytes:
    workbook = opened(package or pack_file())
    sheet = workbook["Agenda"]
    header = header_row(package)
    heads = {str(c.value): c.column for c in sheet[header]}
    for row, values in rows.items():
        for head, value in values.items():
            sheet.cell(row, heads[head]).value = value
    target = io.BytesIO()
    workbook.save(target)
    return target.getvalue()


def header_row(package: bytes | None = None) -> int:
    return _header_row(package or pack_file())


@cache
def _header_row(package: bytes) -> int:
    book = openpyxl.load_workbook(io.BytesIO(package), read_only=True)
    lines = book["Agenda"].iter_rows(min_row=1, max_row=29, max_col=1, values_only=True)
    return next(row for row, (first,) in enumerate(lines, 1) if first == "Farm")


FIRST = 15  # E3, beneath the header; then N2 Screen, S1 Well, H4, and three empty rows
NORTH = {"Action": "Replace the solenoid", "Who": "Reader A", "By when": AUGUST}
TWO = {
    FIRST + 1: NORTH,
    FIRST: {"Action": "Order a new element", "Who": "Reader D"},
    FIRST + 4: {"Farm": "North Farm (invented)", "Station": "n1  screen", "Action": "Plan a flush"},
}


def agreed(data: bytes) -> list[tuple[Any, ...]]:
    frame = read_book(data, "x.xlsx").book.agreed.frame
    wanted = frame[["station", "action", "who", "due"]]
    return [tuple(row) for row in wanted.itertuples(index=False)]


def to_north(rows: dict[int, dict[str, Any]], data: bytes | None = None) -> Carried:
    return _to_north(filled(rows), data or book("north"))


@cache
def _to_north(pack: bytes, data: bytes) -> Carried:
    return enter_agreed(pack, "pack.xlsx", data, "north-2026.xlsx")


def changed_parts(before: bytes, after: bytes) -> list[str]:
    """Parts that differ, bytes and compressed bytes; order and names must be the same."""
    with zipfile.ZipFile(io.BytesIO(before)) as a, zipfile.ZipFile(io.BytesIO(after)) as b:
        assert a.namelist() == b.namelist()
        assert [i.date_time for i in a.infolist()] == [i.date_time for i in b.infolist()]
        return [n for n in a.namelist() if a.read(n) != b.read(n)]


def test_the_rows_stand_where_these_tests_fill_them_in() -> None:
    assert header_row() + 1 == FIRST


def test_what_was_done_before_the_month_can_be_agreed_again() -> None:
    """The same words of a spring that is over counted as this meeting's, and nothing was added."""
    again = {FIRST + 1: {"Action": "Flush", "Who": "Cy"}}
    cases = ((None, 0), (dt.date(2026, 7, 20), 0), (dt.date(2026, 5, 1), 1))
    for done, added in few(cases, 2):
        home = opened(book("north"))
        heads = {str(c.value): c.column for c in home["Agreed"][1]}
        for head, value in (("Station", "N2 Screen"), ("Action", "Flush"), ("Who", "Cy")):
            home["Agreed"].cell(6, heads[head]).value = value
        home["Agreed"].cell(6, heads["Done date"]).value = done
        target = io.BytesIO()
        home.save(target)
        one = to_north(again, target.getvalue())
        assert (len(one.rows), one.already) == (added, 1 - added), done


def test_the_filled_rows_of_this_farm_are_added_behind_those_there() -> None:
    done = to_north(TWO)
    assert done.data is not None
    assert (done.rows, done.already, done.others, done.changed) == ((6, 7), 0, 1, False)
    assert agreed(done.data)[:4] == agreed(book("north"))
    assert agreed(done.data)[4:] == [
        ("N2 Screen", "Replace the solenoid", "Reader A", AUGUST),
        ("N1 Screen", "Plan a flush", None, None),
    ]


def test_only_the_sheets_own_part_changes() -> None:
    done = to_north(TWO)
    assert done.data is not None
    assert changed_parts(book("north"), done.data) == [SHEET]
    assert lint(done.data) == lint(book("north"))


def test_inside_the_sheet_nothing_else_changes() -> None:
    done = to_north(TWO)
    with zipfile.ZipFile(io.BytesIO(done.data or b"")) as after:
        new = after.read(SHEET).decode()
    with zipfile.ZipFile(io.BytesIO(book("north"))) as before:
        old = before.read(SHEET).decode()
    without = re.sub(r'<row r="[67]">.*?</row>', "", new)
    assert without == old.replace('<dimension ref="A1:F5"/>', '<dimension ref="A1:F7"/>')


def test_new_cells_look_like_the_row_above() -> None:
    done = to_north(TWO)
    sheet = openpyxl.load_workbook(io.BytesIO(done.data or b""))["Agreed"]
    assert [sheet.cell(6, c).style_id for c in range(1, 5)] == [
        sheet.cell(5, c).style_id for c in range(1, 5)
    ]
    assert sheet["D6"].is_date
    assert sheet["D6"].value == dt.datetime(2026, 8, 10)


def test_twice_adds_nothing() -> None:
    once = to_north(TWO)
    assert once.data is not None
    again = to_north(TWO, once.data)
    assert again.data is None
    assert (again.rows, again.already, again.changed) == ((), 2, True)


@pytest.mark.at_length  # twice adds nothing; the filled rows are added behind
def test_a_row_added_later_joins_those_carried_before() -> None:
    once = to_north({FIRST + 1: NORTH})
    more = to_north(TWO, once.data)
    assert (more.rows, more.already) == ((7,), 1)


def test_the_same_row_twice_in_the_pack_is_one() -> None:
    farm = {"Farm": "North Farm (invented)", "Station": "N2 Screen"}
    assert to_north({FIRST + 1: NORTH, FIRST + 5: farm | NORTH}).rows == (6,)


def test_the_next_review_reads_what_was_carried() -> None:
    from siltbook.batch.review.agreed import Kept, agreed_rows
    from siltbook.batch.review.farm import read_month
    from siltbook.batch.review.month import Month

    done = to_north(TWO)
    august = read_month(done.data or b"", "north-2026.xlsx", Month(2026, 8))
    states = {row.action: row.kept for row in agreed_rows(august.now)}
    assert states["Replace the solenoid"] is Kept.NOT_DONE
    assert states["Plan a flush"] is Kept.NO_DATE


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("value", "read"),
    [(dt.datetime(2026, 8, 10), AUGUST), ("2026-08-10", AUGUST), ("10 Aug 2026", AUGUST)],
)
def test_a_date_may_be_a_date_or_text(value: object, read: dt.date) -> None:
    done = to_north({FIRST + 1: NORTH | {"By when": value}})
    assert agreed(done.data or b"")[-1][3] == read


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("text", ["=1+1", "_x0041_", "<b> & co", "two\nlines", "@who"])
def test_peoples_texts_stay_text(text: str) -> None:
    table = read_book(book("north"), "n").book.agreed
    row: dict[str, str | dt.date] = {"station": "N1 Screen", "action": text}
    data, numbers = append_rows(book("north"), table, [row], [])
    cell = openpyxl.load_workbook(io.BytesIO(data))["Agreed"].cell(numbers[0], 2)
    assert cell.data_type == "s"
    assert agreed(data)[-1][1].split() == text.split()
    assert lint(data) == lint(book("north"))


def small(rows: int, *, spare: int = 0, text_dates: bool = False, totals: bool = False) -> bytes:
    """A book whose table Agreed ends right behind its rows, or with blank rows in it."""
    target = io.BytesIO()
    with xlsxwriter.Workbook(target, {"in_memory": True}) as made:
        date = made.add_format({} if text_dates else {"num_format": "dd/mm/yyyy"})
        made.add_worksheet("Farm").write_row(0, 0, ["Farm name", "Small Farm"])
        stations, readings = made.add_worksheet("Stations"), made.add_worksheet("Readings")
        stations.write_column(0, 0, ["Station", "A", "B"])
        readings.write_row(0, 0, ["Station", "Date", "Inlet pressure", "Outlet pressure"])
        readings.write_row(1, 0, ["A", "2026-07-06", 3.0, 2.4])
        sheet = made.add_worksheet("Agreed")
        heads = [{"header": h} for h in ("Note", "Due date", "Station", "Action", "Who")]
        sheet.add_table(2, 1, 2 + max(rows, 1) + spare + totals, 5,
                        {"columns": heads, "total_row": totals})  # fmt: skip
        for row in range(3, 3 + rows):
            sheet.write_row(row, 1, ["own note"])
            sheet.write(row, 2, 46000 if not text_dates else "2026-01-05", date)
            sheet.write_row(row, 3, ["A", f"old {row}", "W"])
        for row in range(3 + rows, 3 + rows + spare):
            sheet.write_blank(row, 2, None, date)
    return target.getvalue()


def carried(data: bytes, **cells: Any) -> Carried:
    """A pack of this one book, its first row filled in, carried over."""
    from siltbook.batch.review.farm import read_month

    made = pack_bytes(make_pack([read_month(data, "small.xlsx", JULY)], JULY, "test"))
    values = {"Action": "Flush", "Who": "W", "By when": AUGUST} | cells
    pack = filled({header_row(made) + 1: values}, made)
    return enter_agreed(pack, "pack.xlsx", data, "small.xlsx")


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(("rows", "spare"), [(2, 0), (0, 0), (2, 3), (0, 2)])
def test_the_table_grows_where_it_is_full(rows: int, spare: int) -> None:
    data = small(rows, spare=spare)
    done = carried(data)
    assert done.data is not None
    assert done.rows == (4 + rows,)
    grows = [] if spare or rows == 0 else ["xl/tables/table1.xml"]
    assert changed_parts(data, done.data) == ["xl/worksheets/sheet4.xml", *grows]
    assert lint(done.data) == []
    sheet = openpyxl.load_workbook(io.BytesIO(done.data))["Agreed"]
    last = max(4 + rows, 3 + max(rows, 1) + spare)
    assert sheet.tables["Table1"].ref == f"B3:F{last}"
    new = [c.value for c in sheet[4 + rows]][1:]
    assert new[2:] == ["A", "Flush", "W"]
    assert new[0] is None


def test_a_date_is_text_where_no_cell_of_the_column_shows_dates() -> None:
    done = carried(small(2, text_dates=True))
    sheet = openpyxl.load_workbook(io.BytesIO(done.data or b""))["Agreed"]
    assert sheet.cell(6, 3).value == "2026-08-10"


def test_a_row_of_totals_is_not_overrun() -> None:
    data = small(2, totals=True)
    with pytest.raises(BookError, match=r"small\.xlsx: The list on the sheet Agreed ends in a row"):
        carried(data)


@pytest.mark.at_length  # the table grows from no row
def test_an_empty_blank_book_takes_its_first_row() -> None:
    rows = {
        "Stations": [{"station": "A"}],
        "Readings": [{"station": "A", "date": dt.date(2026, 7, 6), "inlet": 3.0, "outlet": 2.4}],
    }
    data = build(BlankOptions(farm="New"), rows)
    done = carried(data)
    assert done.rows == (2,)
    sheet = openpyxl.load_workbook(io.BytesIO(done.data or b""))["Agreed"]
    assert sheet["D2"].value == dt.datetime(2026, 8, 10)


def one_sentence(caught: pytest.ExceptionInfo[BookError]) -> str:
    text = str(caught.value)
    assert "\n" not in text
    assert "othing was changed" in text or "siltbook review" in text
    return text


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (NORTH | {"By when": "soon"}, "read 'soon', which is no date; accepted: a date such as"),
        (NORTH | {"By when": "04/05/2026"}, "read '04/05/2026', which is no date"),
        (NORTH | {"By when": 15}, "read '15', which is no date"),
        (NORTH | {"Station": "N9"}, "read 'N9', which is no station of north-2026.xlsx"),
        (NORTH | {"Station": None}, "is empty: no station of north-2026.xlsx"),
        ({"Who": "Reader A"}, "is empty where 'Who' or 'By when' is filled in"),
    ],
)
def test_a_row_that_cannot_be_taken_is_named_by_its_cell(cells: dict[str, Any], said: str) -> None:
    with pytest.raises(BookError) as caught:
        to_north({FIRST + 1: cells, FIRST + 4: TWO[FIRST + 4]})
    text = one_sentence(caught)
    assert said in text
    assert re.search(rf"pack\.xlsx: Agenda![A-Z]{FIRST + 1}\b", text)


@pytest.mark.at_length  # a row that cannot be taken is named by its cell
def test_a_new_row_needs_to_name_a_farm_of_the_pack() -> None:
    row = {"Station": "N1 Screen", "Action": "x"}
    with pytest.raises(BookError) as caught:
        to_north({FIRST + 4: row})
    assert "is empty in a row that is filled in; write which farm" in one_sentence(caught)
    with pytest.raises(BookError) as caught:
        to_north({FIRST + 4: row | {"Farm": "Other"}})
    assert "read 'Other', which is no farm of this pack" in one_sentence(caught)


def test_another_workbook_is_no_pack() -> None:
    with pytest.raises(BookError) as caught:
        enter_agreed(book("north"), "north.xlsx", book("north"), "north.xlsx")
    assert one_sentence(caught).startswith("north.xlsx is no review pack")


def test_a_book_of_another_farm_is_refused() -> None:
    lone = pack_bytes(make_pack([month("east")], JULY, "test"))
    with pytest.raises(BookError) as caught:
        enter_agreed(lone, "pack.xlsx", book("north"), "north-2026.xlsx")
    assert one_sentence(caught) == (
        "north-2026.xlsx is none of the books of pack.xlsx (east-2026.xlsx (East Farm "
        "(invented))): give one of them; nothing was changed."
    )


def test_a_renamed_book_is_known_by_its_fingerprint() -> None:
    done = enter_agreed(filled(TWO), "pack.xlsx", book("north"), "copy of mine.xlsx")
    assert done.rows == (6, 7)
    assert not done.changed


def test_a_pack_without_a_filled_row_adds_nothing() -> None:
    done = enter_agreed(pack_file(), "pack.xlsx", book("north"), "north-2026.xlsx")
    assert (done.data, done.rows, done.already, done.others) == (None, (), 0, 0)


def test_rows_on_a_protected_sheet_are_said_to_stand_there() -> None:
    locked = opened(book("north"))
    locked["Agreed"].protection.sheet = True
    locked["Readings"].protection.sheet = True
    target = io.BytesIO()
    locked.save(target)
    old = target.getvalue()
    new = enter_agreed(filled(TWO), "pack.xlsx", old, "north-2026.xlsx").data or b""
    assert though_protected(old, new, "north-2026.xlsx") == (
        "  The sheet Agreed is protected: the book was changed there all the same, and the"
        " protection stands as it was."
    )
    assert opened(new)["Agreed"].protection.sheet
    assert though_protected(book("north"), to_north(TWO).data, "north-2026.xlsx") == ""


@pytest.mark.at_length  # test_hostile_pack.py: one in its own format
@needs_office
def test_a_pack_that_another_program_saved_is_still_known(office: Shared) -> None:
    saved, _ = office.resaved(filled(TWO), to_north(TWO).data or b"")
    assert enter_agreed(saved, "pack.xlsx", book("north"), "north-2026.xlsx").rows == (6, 7)


@pytest.mark.at_length  # only the sheet's own part changes
@needs_office
def test_another_program_opens_the_book_with_its_new_rows(office: Shared) -> None:
    _, saved = office.resaved(filled(TWO), to_north(TWO).data or b"")
    assert agreed(saved)[4] == ("N2 Screen", "Replace the solenoid", "Reader A", AUGUST)
