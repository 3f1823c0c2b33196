"""Round sheet and station card: what stands on them, and the way back into the book."""

from __future__ import annotations

import datetime as dt
import io
import re
import shutil
import subprocess
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner, Result
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.files import books_in
from siltbook.batch.model import Verdict
from siltbook.batch.paper.round_page import round_page
from siltbook.batch.paper.round_sheet import round_sheet, stations_of
from siltbook.batch.paper.shown import gauge_of, over_at
from siltbook.batch.paper.station_card import station_cards
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.safety import BEFORE_OPENING, EMERGENCY, Touch, cautions
from tests.numbers.logs import STATION, read
from tests.office import convert_all, needs_office
from tests.printed import boxed
from tests.samples.load import assessed

SAMPLES = Path(__file__).parents[2] / "sample_workbooks"
BOOK = SAMPLES / "twelve-stations.xlsx"
needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext is missing")


def siltbook(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


# Two of eight letters each that the font lacks, and one that it has.
LACKING = ("Северная", "Западная", "Größe")


def farm_of(names: Sequence[str], *days: dt.date) -> bytes:
    """A book of stations with one reading over the limit on each day."""
    readings = [
        {"station": name, "date": day, "inlet": 3.0, "outlet": 2.4} for name in names
        for day in days
    ]
    stations = [{"station": name} for name in names]
    return build(BlankOptions(), {"Stations": stations, "Readings": readings})


def text(data: bytes, folder: Path) -> str:
    """The words of a PDF, in one line."""
    (folder / "page.pdf").write_bytes(data)
    done = subprocess.run(
        ["pdftotext", "-layout", str(folder / "page.pdf"), "-"], check=True, capture_output=True,
        text=True,
    )  # fmt: skip
    return re.sub(r"\s+", " ", done.stdout)


def body(said: str) -> list[str]:
    """A sheet's words without what is told anew on each page, and without its boxes."""
    said = re.sub(r"farm\.xlsx|twelve-stations\.xlsx · .*? page \d+( of \d+)?", "", said)
    return sorted(re.findall(r"[\w.]{4,}", said))


def sizes(data: bytes) -> set[float]:
    """The sizes of the letters of a PDF that is not compressed [pt]."""
    return {float(size) for size in re.findall(rb"/F\d+(?:\+\d+)? ([\d.]+) Tf", data)}


@needs_poppler
def test_the_round_sheet_says_what_to_read_and_what_would_be_over(tmp_path: Path) -> None:
    judged = assessed(BOOK.name)
    made = round_sheet(judged, BOOK.name, "0", due=dt.date(2026, 8, 31))
    said = text(made, tmp_path)
    assert "Round sheet" in said
    assert "2. DUE S02 Pond" in said
    assert "Last, 2026-08-24: inlet 3.15, outlet 2.60, drop 0.55 bar" in said
    assert "over: outlet under 2.66 bar at an inlet of 3.15 bar" in said
    assert "in a flush the inlet stays at or above 2.00 bar" in said
    flat = re.sub(r"\s+", " ", said)
    assert EMERGENCY in flat
    assert BEFORE_OPENING in flat
    assert said.index("S01 Weir") < said.index("S12 Nursery")


def test_letters_are_large_enough_and_the_same_book_gives_the_same_bytes() -> None:
    judged = assessed(BOOK.name)
    for size in ("A4", "Letter"):
        papers = (
            round_sheet(judged, BOOK.name, "0", size=size),
            station_cards(judged, BOOK.name, "0", ["S01 Weir", "S11 Meadow"], size),
        )
        for made in papers:
            assert min(sizes(made)) >= 9.0
    again = station_cards(judged, BOOK.name, "0", ["S01 Weir"])
    assert again == station_cards(judged, BOOK.name, "0", ["S01 Weir"])


@pytest.mark.at_length(keep="A4")
@pytest.mark.parametrize("size", ["A4", "Letter"])
def test_every_card_is_one_page(size: str) -> None:
    judged = assessed(BOOK.name)
    for result in judged.stations:
        made = station_cards(judged, BOOK.name, "0", [result.station.name], size)
        assert made.count(b"/Type /Page\n") == 1, result.station.name


@needs_poppler
def test_the_card_has_the_episode_the_work_and_lines_for_what_was_found(tmp_path: Path) -> None:
    judged = assessed(BOOK.name)
    said = text(station_cards(judged, BOOK.name, "0", ["s02 pond"]), tmp_path)
    for words in (
        "Station card: S02 Pond", "Hand clean", "3 cycles; lowest inlet 2.65 bar",
        "read, after flush", "Limit: 5 m (0.49 bar)", "Serial number:", "Contact:",
        "5. See zero on both sides", "What was found", "Who, when",
    ):  # fmt: skip
        assert words in said, words


def test_escalate_names_the_card() -> None:
    judged = assessed(BOOK.name)
    (result,) = (r for r in judged.stations if r.verdict is Verdict.ESCALATE)
    assert "hand over the station card" in result.judgement.steps[0].words


def test_the_round_follows_the_column_order_and_refuses_strangers() -> None:
    judged = assessed(BOOK.name)
    stations = []
    for number, result in enumerate(judged.stations):
        station = replace(result.station, more=(("order", float(100 - number)),))
        stations.append(replace(result, history=replace(result.history, station=station)))
    turned = replace(judged, stations=tuple(stations))
    names = [r.station.name for r in stations_of(turned, (), "x")]
    assert names == [r.station.name for r in reversed(judged.stations)]
    refused = siltbook("card", BOOK, "Nowhere")
    assert refused.exit_code == 3
    assert "no station is called 'Nowhere'; stations: S01 Weir, S02 Pond" in refused.output
    with pytest.raises(BookError, match="no station is called 'A'; the register has no station"):
        stations_of(replace(judged, stations=()), ("A",), "x")


def test_over_is_told_in_the_gauges_own_steps() -> None:
    """5 m is 0.4903 bar: at 3.10 bar an outlet of 2.60 is over and 2.61 is not."""
    bar = replace(STATION, division=0.01 * 10.19716)
    latest = replace(read(0, 2.0), inlet=3.1 * 10.19716)
    assert over_at(bar, latest) == "over: outlet under 2.61 bar at an inlet of 3.10 bar"
    psi = replace(STATION, unit="psi", division=0.7030696)
    assert gauge_of(psi).shown(19.0) == "27 psi"
    assert over_at(bar, None) == ""


@needs_poppler
def test_paper_speaks_the_unit_of_the_gauge_that_is_there_now(tmp_path: Path) -> None:
    """The gauge of S11 was changed in June; whoever goes there reads kPa."""
    judged = assessed(BOOK.name)
    said = text(round_sheet(judged, BOOK.name, "0"), tmp_path)
    meadow = said[said.index("S11 Meadow") : said.index("S12 Nursery")]
    assert "inlet 315, outlet 290, drop 25 kPa" in meadow
    assert "over: outlet under 266 kPa at an inlet of 315 kPa" in meadow
    assert " bar" not in meadow
    siltbook("card", BOOK, "S11 Meadow", "--out", tmp_path)
    said = text((tmp_path / "twelve-stations.card.pdf").read_bytes(), tmp_path)
    assert "Gauge: one gauge, to 600 kPa, class 1.6, since" in said
    assert " bar" not in said


@needs_poppler
def test_what_is_written_on_paper_comes_back_on_the_next_sheet(tmp_path: Path) -> None:
    """The boxes of one round are typed into Readings, judged, and shown as the last reading."""
    book = tmp_path / "farm.xlsx"
    shutil.copy(BOOK, book)
    opened = openpyxl.load_workbook(book)
    sheet = opened["Readings"]
    heads = {cell.value: cell.column for cell in sheet[1]}
    row = next(r for r in range(2, sheet.max_row + 1) if sheet.cell(r, 1).value is None)
    day = dt.date(2026, 8, 31)
    written = {"Station": "S02 Pond", "Date": day, "Inlet pressure": 3.1, "Outlet pressure": 2.9}
    for head, value in written.items():
        sheet.cell(row, heads[head]).value = value
    opened.save(book)
    done = siltbook("round", book, "--stations", "S02 Pond", "--as-of", "2026-08-31")
    assert done.exit_code == 0, done.output
    target = tmp_path / "farm.round.pdf"
    assert done.output.strip() == str(target)
    said = text(target.read_bytes(), tmp_path)
    assert "Last, 2026-08-31: inlet 3.10, outlet 2.90, drop 0.20 bar" in said


def test_a_file_of_that_name_that_is_not_ours_is_left_alone(tmp_path: Path) -> None:
    book = tmp_path / "farm.xlsx"
    shutil.copy(BOOK, book)
    mine = tmp_path / "farm.round.pdf"
    mine.write_bytes(b"%PDF mine")
    refused = siltbook("round", book)
    assert refused.exit_code == 3
    assert f"{mine}: not made by Siltbook, so it is left alone. Move it away." in refused.output
    assert mine.read_bytes() == b"%PDF mine"


@pytest.mark.parametrize(
    "saved", [lambda data: data + b"9 0 obj\nendobj\n%%EOF\n", lambda data: data[:-9]],
    ids=["notes added behind the end", "written anew"],
)  # fmt: skip
def test_a_sheet_on_which_somebody_wrote_in_a_program_is_left_alone(
    tmp_path: Path, saved: Callable[[bytes], bytes]
) -> None:
    book, paper = tmp_path / "farm.xlsx", tmp_path / "farm.round.pdf"
    shutil.copy(BOOK, book)
    for _ in range(2):  # its own is replaced
        assert siltbook("round", book).exit_code == 0
    paper.write_bytes(saved(paper.read_bytes()))
    written = paper.read_bytes()
    refused = siltbook("round", book)
    assert refused.exit_code == 3
    assert refused.output == (
        f"siltbook: {paper}: was saved by another program since Siltbook made it, or made by an"
        " earlier version, and may hold what somebody wrote on it, so it is left alone. Type that"
        " into the book, then move it away.\n"
    )
    assert paper.read_bytes() == written


def on_the_sheet(data: bytes) -> Worksheet:
    return openpyxl.load_workbook(io.BytesIO(data))["Round sheet"]


def first_box(sheet: Worksheet, number: int) -> int:
    """The row of a station's boxes, the station that stands there as number so and so."""
    title = next(r for r in range(1, sheet.max_row + 1)
                 if str(sheet.cell(r, 1).value).startswith(f"{number}. "))  # fmt: skip
    head = next(r for r in range(title, sheet.max_row) if sheet.cell(r, 1).value == "Date, time")
    return head + 1


@pytest.mark.parametrize(("size", "code"), [("A4", 9), ("Letter", 1)])
def test_the_round_as_a_sheet_is_set_up_for_paper_in_black_type_of_nine_points(
    size: str, code: int
) -> None:
    judged = assessed(BOOK.name)
    sheet = on_the_sheet(round_page(judged, BOOK.name, size=size))
    assert (sheet.page_setup.paperSize, sheet.page_setup.orientation) == (code, "landscape")
    assert sheet.page_setup.scale in (None, 100)
    cells = [cell for row in sheet for cell in row if cell.value is not None]
    assert min(cell.font.sz for cell in cells) == 9
    assert {cell.font.color.rgb for cell in cells} == {"FF000000"}
    assert {cell.fill.fgColor.rgb for cell in cells} == {"FFFFFFFF"}
    assert "&9 " in sheet.oddFooter.left.text or sheet.oddFooter.left.size == 9
    titles = [str(c.value) for c in sheet["A"] if re.match(r"\d+\. ", str(c.value))]
    assert len(titles) == 12
    assert titles[1] == "2. S02 Pond · Block 1"
    for line in cautions({Touch.PRESSURE, Touch.OPENS_FILTER}):
        assert line in [c.value for c in sheet["A"]]


@pytest.mark.at_length  # tests/sheets/test_printed.py prints the sheet
@needs_office
@needs_poppler
def test_the_round_as_a_sheet_says_on_paper_what_the_pdf_says(tmp_path: Path) -> None:
    """Every word in the same order; each page holds its stations whole, and none runs over."""
    judged = assessed(BOOK.name)
    sizes = {"A4": 841.9, "Letter": 792.0}
    books = [tmp_path / f"{size}.xlsx" for size in sizes]
    for path in books:
        path.write_bytes(round_page(judged, BOOK.name, size=path.stem))
    pdfs = convert_all(books, tmp_path, "pdf")
    for (size, across), pdf in zip(sizes.items(), pdfs, strict=True):
        printed = pdf.read_bytes()
        pages = boxed(printed)
        assert {round(page.width, 1) for page in pages} == {across}
        breaks = on_the_sheet((tmp_path / f"{size}.xlsx").read_bytes()).row_breaks.brk
        assert len(pages) == len(breaks) + 1
        begun = [next(w.text for w in page.words) for page in pages[1:]]
        assert all(re.fullmatch(r"\d+\.", text) for text in begun)
        made = round_sheet(judged, BOOK.name, "0", size=size)
        assert body(text(printed, tmp_path)) == body(text(made, tmp_path))


@pytest.mark.at_length  # what is written on paper comes back
def test_the_boxes_of_the_sheet_typed_in_row_by_row_stand_on_the_next_one(tmp_path: Path) -> None:
    """Readings and Work done are filled from top to bottom as the sheet is; nothing is sought."""
    book = Path(shutil.copy(BOOK, tmp_path / "farm.xlsx"))
    assert siltbook("round", book, "--sheet").output == f"{tmp_path / 'farm.round.xlsx'}\n"
    paper = openpyxl.load_workbook(tmp_path / "farm.round.xlsx")
    sheet, day = paper["Round sheet"], dt.date(2026, 8, 31)
    for number in range(1, 13):  # with a pen, as it were: date, inlet, outlet; one is flushed
        row, kilo = first_box(sheet, number), 100 if number == 11 else 1
        inlet = 3.1
        for at, value in enumerate((day, inlet * kilo, (inlet - 0.2 - number / 100) * kilo), 1):
            sheet.cell(row, at).value = value
        if number == 2:
            sheet.cell(row, 6).value, sheet.cell(row, 7).value = 3, 2.5
    opened = openpyxl.load_workbook(book)
    readings, work = opened["Readings"], opened["Work done"]
    spare = {s.title: first_empty(s) for s in (readings, work)}
    names = [r.station.name for r in assessed(BOOK.name).stations]
    for number, name in enumerate(names, 1):
        row = first_box(sheet, number)
        date, inlet, outlet = (sheet.cell(row, at).value for at in (1, 2, 3))
        fill(
            readings,
            spare["Readings"] + number - 1,
            {"Station": name, "Date": date, "Inlet pressure": inlet, "Outlet pressure": outlet},
        )
        if cycles := sheet.cell(row, 6).value:
            fill(work, spare["Work done"],
                 {"Station": name, "Date": date, "Work": "flush", "Cycles": cycles,
                  "Lowest inlet in flush": sheet.cell(row, 7).value})  # fmt: skip
    opened.save(book)
    assert siltbook("run", book, "--as-of", "2026-08-31").exit_code == 0
    (tmp_path / "farm.round.xlsx").unlink()
    done = siltbook("round", book, "--sheet", "--as-of", "2026-08-31")
    assert done.exit_code == 0, done.output
    told = on_the_sheet((tmp_path / "farm.round.xlsx").read_bytes())
    lines = [str(c.value) for c in told["A"] if str(c.value).startswith("Last, ")]
    assert len(lines) == 12
    assert lines[1].startswith("Last, 2026-08-31: inlet 3.10, outlet 2.88, drop 0.22 bar.")
    assert lines[10].startswith("Last, 2026-08-31: inlet 310, outlet 279, drop 31 kPa.")
    assert all(line.startswith("Last, 2026-08-31: inlet 3.10, outlet 2.") for line in
               lines[:10] + lines[11:])  # fmt: skip


def first_empty(sheet: Worksheet) -> int:
    return next(r for r in range(2, sheet.max_row + 2) if sheet.cell(r, 1).value is None)


def fill(sheet: Worksheet, row: int, values: dict[str, object]) -> None:
    heads = {str(cell.value): cell.column for cell in sheet[1]}
    for head, value in values.items():
        sheet.cell(row, heads[head]).value = value  # type: ignore[assignment]


@pytest.mark.at_length  # a file of that name that is not ours is
def test_a_round_sheet_that_was_typed_into_is_left_alone(tmp_path: Path) -> None:
    """One that nobody saved is made anew; no folder takes either for a book."""
    book = Path(shutil.copy(BOOK, tmp_path / "farm.xlsx"))
    target = tmp_path / "farm.round.xlsx"
    assert siltbook("round", book, "--sheet", "--paper", "Letter").exit_code == 0
    first = target.read_bytes()
    assert siltbook("round", book, "--sheet").exit_code == 0
    assert target.read_bytes() != first
    assert books_in(tmp_path) == [book]
    opened = openpyxl.load_workbook(target)
    opened["Round sheet"].cell(first_box(opened["Round sheet"], 1), 2).value = 3.1
    opened.save(target)
    typed = target.read_bytes()
    refused = siltbook("round", book, "--sheet")
    assert refused.exit_code == 3
    assert refused.output == (
        f"siltbook: {target}: not made by Siltbook, or saved by somebody since, so it is left "
        "alone. Type what was written in it into the book, then move it away.\n"
    )
    assert target.read_bytes() == typed
