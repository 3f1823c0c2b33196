"""Renders the README's pictures from a real run: `python docs/pictures.py` (LibreOffice, poppler).

Each picture is the first printed page of a result sheet of the sample farm, or of a sheet of the
sample portfolio's review.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BOOK = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
SHEETS = {"Actions": "actions", "Station review": "station-review", "Trends": "trends"}
AUDIT = {"Audit summary": "audit-summary"}
PORTFOLIO = ROOT / "sample_workbooks" / "portfolio"
MONTH = "2026-07"
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


def main() -> None:
    """Run all of them, and keep one page of each sheet."""
    from siltbook.batch.job import review_bytes

    reviewed = review_bytes(BOOK.read_bytes(), BOOK.name, BOOK.name).package
    keep(reviewed, SHEETS)
    keep(audited(reviewed), AUDIT)
    keep(pack(), PACK_SHEETS)
    season_page()


if __name__ == "__main__":
    main()
