"""Renders the README's pictures from a real run: `python docs/pictures.py` (LibreOffice, poppler).

Each picture is the first printed page of a result sheet of the sample farm.
"""

from __future__ import annotations

import subprocess
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
BOOK = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
SHEETS = {"Actions": "actions", "Station review": "station-review", "Trends": "trends"}


def page_texts(pdf: Path) -> list[str]:
    """The text of each page."""
    done = subprocess.run(["pdftotext", str(pdf), "-"], check=True, capture_output=True, text=True)
    return done.stdout.split("\f")


def main() -> None:
    """Run, convert, and keep one page per sheet."""
    from batch.job import review_bytes

    out = ROOT / "docs" / "pictures"
    out.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "farm.xlsx"
        book.write_bytes(review_bytes(BOOK.read_bytes(), BOOK.name, BOOK.name).package)
        subprocess.run(
            ["soffice", f"-env:UserInstallation=file://{folder}/profile", "--headless",
             "--convert-to", "pdf", "--outdir", folder, str(book)],
            check=True, capture_output=True,
        )  # fmt: skip
        pdf = book.with_suffix(".pdf")
        for sheet, name in SHEETS.items():
            page = next(i for i, t in enumerate(page_texts(pdf), 1) if t.startswith(f"{sheet} –"))
            subprocess.run(
                ["pdftoppm", "-png", "-r", "90", "-f", str(page), "-l", str(page), "-singlefile",
                 str(pdf), str(out / name)],
                check=True,
            )  # fmt: skip


if __name__ == "__main__":
    main()
