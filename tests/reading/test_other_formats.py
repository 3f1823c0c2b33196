"""Books of other formats: .ods and old .xls are read, never changed, and end in a new .xlsx."""

from __future__ import annotations

import datetime as dt
import io
import json
import random
import warnings
import zipfile
from functools import cache
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter
from click.testing import CliRunner

from siltbook.batch import child
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.job import Reviewed, review_bytes
from siltbook.batch.reading import oldbook, plainbook
from siltbook.batch.reading.book import ReadResult, read_book
from siltbook.batch.reading.cells import MAX_CELL
from siltbook.batch.reading.foreign import as_xlsx, kind_of
from siltbook.checks.fitness import check_book
from tests.lint import lint
from tests.office import Shared, cells, needs_office
from tests.reading.books import clean_sheets, zipped
from tests.samples.load import assessed

DATA = Path(__file__).with_name("data")
SAMPLE = Path(__file__).parents[2] / "sample_workbooks" / "twelve-stations.xlsx"
DAY = dt.date(2026, 5, 31)
KINDS = ("ods", "xls")
BOTH = pytest.mark.parametrize("kind", KINDS)


def other(kind: str) -> bytes:
    return (DATA / f"other.{kind}").read_bytes()


def original() -> bytes:
    """The book that LibreOffice re-saved as the two files of `data/`."""
    target = io.BytesIO()
    book = xlsxwriter.Workbook(target, {"in_memory": True})
    formats = {
        dt.date: book.add_format({"num_format": "yyyy-mm-dd"}),
        dt.time: book.add_format({"num_format": "hh:mm"}),
        dt.datetime: book.add_format({"num_format": "yyyy-mm-dd hh:mm"}),
    }
    percent = book.add_format({"num_format": "0%"})
    sheets = clean_sheets()
    for name in ("Farm", "Stations"):
        page = book.add_worksheet(name)
        for r, row in enumerate(sheets[name]):
            for c, value in enumerate(row):
                page.write(r, c, value)
    book.get_worksheet_by_name("Farm").write_row(2, 0, ["Watch share", 0.75], percent)
    book.get_worksheet_by_name("Stations").write_string(3, 0, "007")
    page = book.add_worksheet("Readings")
    heads = ["Station", "Date", "Time", "Inlet pressure", "Outlet pressure", "Remark"]
    page.write_row(0, 0, heads)
    rows = [
        ["F1", DAY, dt.time(7, 30), 3.0, 2.5, "two\nlines  and   spaces"],
        ["F2", DAY, None, "35 psi", "2,4", "=cmd|x"],
        ["007", dt.datetime(2026, 5, 31, 6, 15), None, 3, ("=1/0", "#DIV/0!"), None],
        ["F1", "31/05/2026", "8:15", ("=1+2", 3), 2.25, None],
        [],
        [None, DAY, None, 3.1, 2.6],
        [None, DAY, None, 3.1, 2.6],
    ]
    for r, row in enumerate(rows, 2):
        for c, value in enumerate(row):
            if isinstance(value, tuple):
                page.write_formula(r, c, value[0], None, value[1])
            elif isinstance(value, str):
                page.write_string(r, c, value)
            elif value is not None:
                page.write(r, c, value, formats.get(type(value)))
    page.merge_range("A8:A9", "F2")
    page.set_row(3, None, None, {"hidden": True})
    book.add_worksheet("Secret").hide()
    book.close()
    return target.getvalue()


def shown(result: ReadResult) -> tuple[object, ...]:
    frame = result.book.readings.frame.drop(columns="remark")
    return (
        result.book.settings,
        result.book.counts,
        result.book.sheet_names,
        [f.message for f in result.findings],
        [list(map(str, row)) for row in frame.itertuples()],
    )


@BOTH
def test_the_same_book_in_another_format_reads_the_same(kind: str) -> None:
    read = read_book(other(kind), f"other.{kind}")
    same = read_book(original(), f"other.{kind}")
    assert shown(read) == shown(same)
    assert read.book.readings.frame.remark[3] == "two\nlines  and   spaces"
    assert read.book.readings.frame.remark[4] == "=cmd|x"
    assert "Readings!E5: error value in a cell: read #DIV/0!" in " ".join(shown(read)[3])


@pytest.mark.at_length(keep="xls")
@pytest.mark.usefixtures("real_child")
@BOTH
def test_the_result_is_a_new_xlsx_with_the_values_where_they_stood(
    kind: str, tmp_path: Path
) -> None:
    book = tmp_path / f"farm.{kind}"
    book.write_bytes(other(kind))
    done = CliRunner().invoke(main, ["run", str(book), "--json"])
    assert done.exit_code == 0
    result = tmp_path / "farm.reviewed.xlsx"
    (entry,) = json.loads(done.stdout)["books"]
    assert entry["output"] == str(result)
    assert book.read_bytes() == other(kind)
    assert {p.name for p in tmp_path.iterdir()} == {f"farm.{kind}", result.name}
    (note,) = [f["message"] for f in entry["findings"] if f["rule"] == "book-carried-over"]
    assert note.startswith("(whole book): the book is of another format: read an ")
    assert lint(result.read_bytes()) == []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        made = openpyxl.load_workbook(result)
    page = made["Readings"]
    assert page["A5"].value == "007"
    assert page["D4"].value == "35 psi"
    assert page["F4"].value == "=cmd|x"
    assert page["F4"].data_type == "s"
    assert page["E5"].data_type == "e"
    assert page["B3"].value == dt.datetime(2026, 5, 31)
    assert page["B3"].number_format == r"yyyy\-mm\-dd"
    assert page["C3"].value == dt.time(7, 30)
    assert page.row_dimensions[4].hidden
    assert [str(r) for r in page.merged_cells.ranges] == ["A8:A9"]
    assert made["Secret"].sheet_state == "hidden"
    formulas = {c.value for c in made["Workings"]["D"] if c.data_type == "f"}
    assert "='Readings'!D6" in formulas


@BOTH
def test_in_place_is_refused(kind: str, tmp_path: Path) -> None:
    book = tmp_path / f"farm.{kind}"
    book.write_bytes(other(kind))
    done = CliRunner().invoke(main, ["run", str(book), "--in-place"])
    assert done.exit_code == 3
    assert done.stderr.count("\n") == 1
    assert "into which no result sheets can be put: run without --in-place" in done.stderr
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [other(kind)]


def test_a_reviewed_book_that_was_saved_in_another_format_is_judged_into_a_new_file(
    tmp_path: Path,
) -> None:
    """No results can be put into it, and it was told to leave out an option that it had not."""
    book = tmp_path / "b.reviewed.ods"
    book.write_bytes(other("ods"))
    done = CliRunner().invoke(main, ["run", str(book)])
    assert done.exit_code == 0, done.output
    assert f"  Result: {tmp_path / 'b.reviewed.reviewed.xlsx'}\n" in done.output
    assert book.read_bytes() == other("ods")


@pytest.mark.at_length  # test_watch.py: formats side by side
def test_a_book_in_two_formats_has_two_results(tmp_path: Path) -> None:
    for kind in ("ods", "xls"):
        (tmp_path / f"farm.{kind}").write_bytes(other(kind))
    (tmp_path / "farm.xlsx").write_bytes(original())
    assert CliRunner().invoke(main, ["run", str(tmp_path)]).exit_code == 0
    assert {p.name for p in tmp_path.glob("*.reviewed.*")} == {
        "farm.reviewed.xlsx", "farm.ods.reviewed.xlsx", "farm.xls.reviewed.xlsx",
    }  # fmt: skip


@cache
def of_kind(kind: str, office: Shared) -> Reviewed:
    """The sample farm, saved in another format and judged."""
    (data,) = office.resaved(SAMPLE.read_bytes(), to=kind)
    assert kind_of(data) == kind
    return review_bytes(data, f"b.{kind}", f"b.{kind}")


@pytest.mark.at_length(keep="ods")
@needs_office
@BOTH
def test_the_sample_farm_in_another_format_gives_the_same_verdicts(
    kind: str, office: Shared
) -> None:
    review = of_kind(kind, office)
    same = assessed(SAMPLE.name)

    def verdicts(assessment: object) -> list[tuple[str, str, str]]:
        return [(r.station.name, str(r.verdict), r.judgement.reason) for r in assessment.stations]

    assert verdicts(review.assessment) == verdicts(same)
    assert lint(review.package) == []


@pytest.mark.at_length  # test_sample_farm.py recalculates the workings of an .xlsx
@needs_office
@BOTH
def test_the_workings_of_another_format_are_live(kind: str, office: Shared) -> None:
    review = of_kind(kind, office)
    both = [of_kind(each, office).package for each in KINDS]  # by one start of the program
    again = dict(zip(KINDS, office.resaved(*both, recalculate=True), strict=True))[kind]
    live, kept = (cells(book, "Workings", values=True) for book in (again, review.package))
    drops = [at for at, value in kept.items() if at[0] == "J" and isinstance(value, float)]
    assert len(drops) > 100
    for cell in drops:
        assert live[cell] == pytest.approx(kept[cell]), cell


def ods(content: str, **more: str) -> bytes:
    """An .ods with these rows on the sheet Readings and a register of one station."""
    text = (
        '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0"'
        ' xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0"'
        ' xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"'
        ' xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0">'
        "<office:body><office:spreadsheet>"
        f'<table:table table:name="Stations">{line("Station")}{line("F1")}</table:table>'
        f'<table:table table:name="Readings">{HEAD}{content}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    mimetype = "application/vnd.oasis.opendocument.spreadsheet"
    return zipped({"mimetype": mimetype, "content.xml": text, **more})


def cell(text: str, *attrs: str) -> str:
    return f"<table:table-cell {' '.join(attrs)}><text:p>{text}</text:p></table:table-cell>"


def line(*cells: str, attrs: str = "") -> str:
    made = "".join(c if c.startswith("<") else cell(c, 'office:value-type="string"') for c in cells)
    return f"<table:table-row {attrs}>{made}</table:table-row>"


HEAD = line("Station", "Date", "Time", "Inlet pressure", "Outlet pressure", "Remark")


def number(value: str) -> str:
    return cell("shown", 'office:value-type="float"', f'office:value="{value}"')


def test_cells_of_an_opendocument_sheet() -> None:
    moment = cell("x", 'office:value-type="date"', 'office:date-value="2026-05-31T06:15:00"')
    clock = cell("x", 'office:value-type="time"', 'office:time-value="PT07H30M00S"')
    note = "<office:annotation><text:p>no value</text:p></office:annotation>"
    spaced = 'a<text:s text:c="3"/>b<text:line-break/>c</text:p><text:p>d'
    rows = line("F1", moment, clock, number("3"), number("2.5"), cell(spaced)) + line(
        f'<table:table-cell office:value-type="string">{note}<text:p>F<text:span>1</text:span>'
        "</text:p></table:table-cell>",
        cell("x", 'office:value-type="date"', 'office:date-value="2026-05-31"'),
        '<table:table-cell table:number-columns-repeated="1"/>',
        number("3"),
        cell("#REF!", 'office:value-type="float" office:value="0" table:formula="of:=[.A1]"'),
        cell("", 'table:formula="of:=[.A1]"'),
    )
    result = read_book(ods(rows), "b.ods")
    frame = result.book.readings.frame
    assert frame.station.tolist() == ["F1", "F1"]
    assert frame.time.tolist() == [dt.time(7, 30), None]
    assert frame.remark.tolist() == ["a   b\nc\nd", None]
    assert [f.message.partition("; accepted")[0] for f in result.findings] == [
        "Readings!E3: error value in a cell: read #REF!",
        "Readings!F3: formula without a stored value: read a formula without a value",
    ]


def formula(text: str, *attrs: str) -> str:
    return cell("shown", f'table:formula="of:={text}"', *attrs)


def test_a_truth_value_is_no_pressure_of_1_bar() -> None:
    """LibreOffice keeps a truth value of an .xlsx as a formula with the result 1."""
    one = ('office:value-type="float"', 'office:value="1"')
    rows = line("F1", "2026-05-31", "7:30", formula("TRUE()", *one), number("0.5"))
    rows += line("F1", "2026-06-01", "7:30", formula("2-1", *one), number("0.5"))
    (said,) = [f.message for f in read_book(ods(rows), "b.ods").findings]
    assert said.startswith("Readings!D2: not a number: read TRUE; accepted: a number in bar.")


def test_a_formula_that_gave_nothing_is_a_blank_cell() -> None:
    """Its program stores no result for ="", and one for every other formula of the book."""
    blank = '<table:table-cell table:formula="of:=&quot;&quot;"/>'
    head = line("F1", "2026-05-31", blank)
    known = formula("2+1", 'office:value-type="float"', 'office:value="3"')
    result = read_book(ods(head + line("F1", blank, "7:30", known, number("2.5"))), "b.ods")
    found = [*check_book(result.book, None), *result.findings]
    assert [f.message.partition(";")[0] for f in found] == [
        "Readings!D2: required cell is empty: read nothing in D2 and E2",
        "Readings!B3: required cell is empty: read nothing",
    ]
    result = read_book(ods(head + line("F1", blank, "7:30", number("3"), number("2.5"))), "b.ods")
    assert "Readings!B3: formula without a stored value: read a formula without a value" in [
        f.message.partition(";")[0] for f in result.findings
    ]


def test_repeated_rows_and_cells_are_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    blank = '<table:table-cell table:number-columns-repeated="16384"/>'
    far = line(blank, attrs='table:number-rows-repeated="1048000"')
    good = line("F1", "2026-05-31", cell(""), number("3"), number("2"))
    counts = read_book(ods(far + good), "b.ods").book.counts["Readings"]
    assert (counts.read, counts.used) == (1, 1)
    beyond = line("F1", attrs='table:number-rows-repeated="1048576"')
    with pytest.raises(BookError, match="is damaged or not complete"):
        read_book(ods(beyond), "b.ods")
    with pytest.raises(BookError, match="is damaged or not complete"):
        read_book(ods(line("F1", attrs='table:number-rows-repeated="0"')), "b.ods")
    monkeypatch.setattr(plainbook, "MAX_CELLS", 1000)
    with pytest.raises(BookError, match=r"b\.ods holds more than 1,000 filled cells"):
        read_book(ods(line("F1", attrs='table:number-rows-repeated="5000"')), "b.ods")


def test_long_text_is_cut_and_says_so() -> None:
    rows = line("F1", "2026-05-31", cell(""), number("3"), number("2"), "x" * 40_000)
    made, said = as_xlsx(ods(rows), "b.ods")
    assert said.endswith("with 1 texts too long for a cell of an .xlsx, which were cut")
    assert len(read_book(made, "b.xlsx").book.readings.frame.remark[2]) == MAX_CELL


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (ods("<table:table-row>"), "is damaged or not complete"),
        (ods(line(number("nan"))), ""),
        (ods(line(number("three"))), "is damaged or not complete"),
        (ods(HEAD, **{"encrypted-package": "x"}), "protected by a password: save it without one."),
        (
            ods(HEAD, **{"META-INF/manifest.xml": "<m><e><encryption-data/></e></m>"}),
            "protected by a password: save it without one.",
        ),
    ],
)
def test_broken_and_locked_opendocument_files(data: bytes, said: str) -> None:
    if said:
        with pytest.raises(BookError, match=said):
            read_book(data, "b.ods")
    else:
        finding = read_book(data, "b.ods").findings[0]
        assert finding.message.startswith("Readings!A2: error value in a cell: read #NUM!")


def test_entities_are_refused() -> None:
    with zipfile.ZipFile(io.BytesIO(ods(HEAD))) as archive:
        content = archive.read("content.xml").decode()
    bomb = '<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]>' + content
    with pytest.raises(BookError, match="is damaged or not complete"):
        read_book(ods(HEAD, **{"content.xml": bomb}), "b.ods")


@pytest.mark.at_length(keep="ods")
@BOTH
def test_cut_and_flipped_files_are_read_or_refused(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def here(data: bytes, name: str) -> tuple[bytes, str]:
        try:
            return oldbook.convert(data, name)
        except BookError:
            raise
        except Exception:
            raise ValueError from None

    monkeypatch.setattr(oldbook, "plain_from_xls", here)  # a child for each would take minutes
    dice, data = random.Random(5), other(kind)
    tries = [data[:length] for length in range(4, len(data), 397)]
    for _ in range(150):
        flipped = bytearray(data)
        for _ in range(dice.randint(1, 4)):
            flipped[dice.randrange(len(flipped))] ^= 1 << dice.randrange(8)
        tries.append(bytes(flipped))
    for attempt in tries:
        try:
            counts = read_book(attempt, f"b.{kind}").book.counts
        except BookError as error:
            assert str(error).startswith(f"b.{kind}")  # noqa: PT017 - both outcomes are allowed
        else:
            assert all(c.read == c.used + c.set_aside for c in counts.values())


@pytest.mark.usefixtures("real_child")
def test_a_parser_that_never_ends_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(oldbook, "LIMITS", child.Limits(0.001, 2**30))
    monkeypatch.setattr(child, "LOOK", 0.01)
    with pytest.raises(BookError, match=r"b\.xls takes more time or memory than any ordinary"):
        read_book(other("xls"), "b.xls")


@pytest.mark.usefixtures("real_child")
def test_a_parser_that_is_killed_takes_nothing_with_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(child.sys, "executable", "/bin/false")
    with pytest.raises(BookError, match=r"b\.xls takes more time or memory than any ordinary"):
        read_book(other("xls"), "b.xls")
