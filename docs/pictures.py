"""Renders the README's pictures from a real run: `python docs/pictures.py` (LibreOffice, poppler).

Each picture is the first printed page of a result sheet of the sample farm, or of a sheet of the
sample portfolio's review.
"""

from __future__ import annotations

import datetime as dt
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from siltbook.batch.typed.boxes import Box
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from siltbook.batch.numbers.runs import Run

ROOT = Path(__file__).resolve().parents[1]
BOOK = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
SHEETS = {"Actions": "actions", "Station review": "station-review", "Trends": "trends"}
AUDIT = {"Audit summary": "audit-summary"}
PORTFOLIO = ROOT / "sample_workbooks" / "portfolio"
AS_KEPT = ROOT / "sample_workbooks" / "as-kept" / "wide-two-headers.xlsx"
MONTH = "2026-07"
DAY0 = dt.date(2026, 3, 1)
PACK_SHEETS = {
    "Agenda": "agenda", "Days over limit": "days-over-limit", "Forecast": "forecast",
    "Fouling compared": "fouling-compared",
}  # fmt: skip


def page_texts(pdf: Path) -> list[str]:
    """The text of each page."""
    done = subprocess.run(["pdftotext", str(pdf), "-"], check=True, capture_output=True, text=True)
    return done.stdout.split("\f")


def keep(package: bytes, sheets: dict[str, str]) -> None:
    """Print a workbook and keep the first page of each of these sheets."""
    out = ROOT / "docs" / "pictures"
    out.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book.xlsx"
        book.write_bytes(package)
        subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{folder}/profile", "--headless",
             "--convert-to", "pdf", "--outdir", folder, str(book)],
            check=True, capture_output=True,
        )  # fmt: skip
        pdf = book.with_suffix(".pdf")
        for sheet, name in sheets.items():
            starts = [t.partition("\n")[0].partition(" –")[0] for t in page_texts(pdf)]
            page = starts.index(sheet) + 1
            picture(pdf, page, name)


def picture(pdf: Path, page: int, name: str) -> None:
    """Keep one page of a PDF."""
    subprocess.run(
        ["pdftoppm", "-png", "-r", "90", "-f", str(page), "-l", str(page), "-singlefile",
         str(pdf), str(ROOT / "docs" / "pictures" / name)],
        check=True,
    )  # fmt: skip


def season_page() -> None:
    """The season on one page, from the archive of a sample farm."""
    from siltbook.batch.archive.folder import SUMMARY, season

    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / SUMMARY
        page.write_bytes(season(BOOK.read_bytes(), BOOK.name).files[SUMMARY])
        picture(page, 1, "season-summary")


def pack() -> bytes:
    """The pack of the sample portfolio."""
    from siltbook import __version__
    from siltbook.batch.review.farm import read_month
    from siltbook.batch.review.month import parse_month
    from siltbook.batch.review.pack import make_pack, pack_bytes

    month = parse_month(MONTH)
    books = sorted(PORTFOLIO.glob("*.xlsx"))
    read = [read_month(path.read_bytes(), path.name, month) for path in books]
    return pack_bytes(make_pack(read, month, __version__))


def audited(reviewed: bytes) -> bytes:
    """The audited copy of a reviewed book."""
    from siltbook.batch.audit.job import audit_bytes, audited_package

    return audited_package(audit_bytes(reviewed, BOOK.name), reviewed, BOOK.name)


def papers() -> None:
    """The round sheet and a station card of the sample farm."""
    from siltbook import __version__
    from siltbook.batch.job import assess_bytes
    from siltbook.batch.paper.round_sheet import round_sheet
    from siltbook.batch.paper.station_card import station_cards

    assessed = assess_bytes(BOOK.read_bytes(), BOOK.name)
    made = {
        "round-sheet": round_sheet(assessed, BOOK.name, __version__),
        "station-card": station_cards(assessed, BOOK.name, __version__, ["S02 Pond"]),
    }
    with tempfile.TemporaryDirectory() as folder:
        for name, data in made.items():
            pdf = Path(folder) / f"{name}.pdf"
            pdf.write_bytes(data)
            picture(pdf, 1, name)


def creeping() -> tuple[Run, ...]:
    """Three ended runs that creep and then climb, and one under way; invented."""
    from siltbook.batch.model import History, Reading, Station, Work
    from siltbook.batch.numbers.runs import cut_runs

    entries: list[Reading | Work] = []
    begun = 0
    station = Station(
        "S", 2, "", "disc", None, None, 1.0, 5.0, None, None, None, None, None, None, "bar", True
    )
    for life in (42, 47, 44, 46):
        under_way = life == 46
        for day in range(0, 31 if under_way else life + 3, 5 if under_way else 4):
            drop = round((1 + 4 * (0.2 * day / life + 0.8 * (day / life) ** 5)) / 0.2) * 0.2
            on = DAY0 + dt.timedelta(days=begun + day)
            read = (30.0, 30.0 - drop, drop, None, None, "routine", 0.1, None)
            entries.append(Reading(2, on, None, *read))
        begun += life + 3
        if not under_way:
            entries.append(Work(2, DAY0 + dt.timedelta(days=begun), None, "hand cleaning", None))
    return cut_runs(History(station, tuple(entries)), 3)


def forecast_explained() -> None:
    """Ended runs and one under way, with the forecast that they give."""
    from reportlab.graphics import renderPDF
    from reportlab.graphics.shapes import Circle, Drawing, Line, Polygon, PolyLine, String
    from reportlab.lib.colors import HexColor

    from siltbook.batch.numbers.forecast import forecast
    from siltbook.templates import look

    runs = creeping()
    found = forecast(runs, [], 5.0, runs[-1].ends, 0.1)

    def at(day: float, drop: float) -> tuple[float, float]:
        return 45 + 2.4 * day, 40 + 34 * drop

    sheet = Drawing(560, 250)
    ink, blue, red = (HexColor(c) for c in (look.INK, look.DROP_LINE, look.LIMIT_LINE))
    sheet.add(Line(*at(0, 0), *at(208, 0), strokeColor=ink))
    sheet.add(Line(*at(0, 0), *at(0, 5.6), strokeColor=ink))
    sheet.add(Line(*at(0, 5), *at(208, 5), strokeColor=red, strokeWidth=1.5))
    start = float((runs[-1].begins - DAY0).days)
    early, middle, late = (
        [at(start + d, h) for d, h in zip(c.days, c.drops, strict=True)] for c in found.courses
    )
    band = [xy for point in [*early, *reversed(late)] for xy in point]
    sheet.add(Polygon(band, fillColor=HexColor("#C9DCF2"), strokeColor=None))
    sheet.add(PolyLine([v for p in middle for v in p], strokeColor=blue, strokeDashArray=[4, 3]))
    for run in runs:
        base = (run.begins - DAY0).days
        dots = [at(base + d, h) for d, h in zip(run.days, run.drops, strict=True)]
        sheet.add(PolyLine([v for p in dots for v in p], strokeColor=blue))
        for x, y in dots:
            sheet.add(Circle(x, y, 2.2, fillColor=blue, strokeColor=None))
    for x, y, words in (
        (*at(2, 5.15), "limit"), (*at(2, -0.75), "day"), (*at(0, 5.75), "drop (m)"),
        (*at(30, 0.3), "three ended runs: creep, then climb; cleaned at the limit"),
        (*at(150, 0.3), "the run under way"),
    ):  # fmt: skip
        sheet.add(String(x, y, words, fontName="Helvetica", fontSize=9, fillColor=ink))
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "forecast.pdf"
        renderPDF.drawToFile(sheet, str(page), "Invented readings")
        picture(page, 1, "forecast-explained")


def adopted() -> None:
    """An old spreadsheet, the mapping that adopt makes of it, and the Actions of its book."""
    from siltbook.batch.adopt.into import new_book
    from siltbook.batch.adopt.job import Source, look
    from siltbook.batch.adopt.mapping import write
    from siltbook.batch.job import review_bytes

    data = AS_KEPT.read_bytes()
    keep(data, {"Filter readings 2026": "as-kept-wide"})
    seen = look([Source(AS_KEPT, data)])
    again = f"siltbook adopt {AS_KEPT.name} --mapping own.mapping.xlsx"
    keep(write(seen.made, seen.asked, seen.rows, {}, again), {"Columns": "mapping-columns"})
    book = new_book(seen.rows, seen.rows.work, "An old spreadsheet").data or b""
    keep(review_bytes(book, "own.xlsx", "own.xlsx").package, {"Actions": "adopted-actions"})


def boxes() -> tuple[Box, ...]:
    """What a meeting filled in on Actions at the last run, for the station that is most urgent."""
    from siltbook.batch.job import assess_bytes
    from siltbook.batch.typed.boxes import Box

    assessment = assess_bytes(BOOK.read_bytes(), BOOK.name)
    first = assessment.stations[0].station.name
    due = assessment.as_of + dt.timedelta(days=2) if assessment.as_of else ""
    return (Box(first, None, "Call the maker's service", "Reader A", due),)


def main() -> None:
    """Run all of them, and keep one page of each sheet."""
    from siltbook.batch.job import review_bytes

    reviewed = review_bytes(BOOK.read_bytes(), BOOK.name, BOOK.name, boxes=boxes()).package
    keep(reviewed, SHEETS)
    keep(audited(reviewed), AUDIT)
    keep(pack(), PACK_SHEETS)
    adopted()
    season_page()
    forecast_explained()
    papers()


if __name__ == "__main__":
    main()
