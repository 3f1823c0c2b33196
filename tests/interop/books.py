"""One of each kind of workbook that Siltbook makes, each made once."""

from __future__ import annotations

import datetime as dt
import io
import re
import zipfile
from collections.abc import Callable, Iterator
from functools import cache
from html import unescape
from pathlib import Path
from tempfile import TemporaryDirectory

from click.testing import CliRunner

from siltbook.batch.archive.compare import with_seasons, years
from siltbook.batch.audit.job import audited
from siltbook.batch.cli import main
from siltbook.batch.interface import reviewed_bytes
from siltbook.batch.job import assess_bytes
from siltbook.batch.merging.job import merge_bytes
from siltbook.batch.paper.round_page import round_page
from tests.lean import lean
from tests.review.packs import small_pack
from tests.samples.load import SAMPLES
from tests.typed.farm import opened

ROOT = Path(__file__).parents[2]
BLANK = ROOT / "templates" / "siltbook-blank-bar.xlsx"
REVIEWED = SAMPLES / "in-use" / "twelve-stations.reviewed.xlsx"


def _seasons() -> bytes:
    books = [SAMPLES / "portfolio" / f"east-{year}.xlsx" for year in (2025, 2026)]
    judged = [assess_bytes(book.read_bytes(), book.name) for book in books]
    return with_seasons(lean(BLANK.read_bytes()), years(judged), "next.xlsx")


def _mapping() -> bytes:
    with TemporaryDirectory() as folder:
        target = Path(folder) / "m.xlsx"
        source = SAMPLES / "as-kept" / "wide-two-headers.xlsx"
        done = CliRunner().invoke(main, ["adopt", str(source), "--out", str(target)])
        assert done.exit_code == 0, done.output
        return target.read_bytes()


def _merged() -> bytes:
    """A book with what a copy says otherwise, and with rows that came from it."""
    data = lean((SAMPLES / "twelve-stations.xlsx").read_bytes())
    copy = opened(data)
    copy["Agreed"]["D2"].value = dt.date(2026, 9, 8)
    copy["Agreed"]["C2"].value = "Somebody else, whose name is rather long for so narrow a column"
    for row in range(6, 10):
        copy["Readings"].cell(row, 4).value = 2.45
    added = ("S01 Weir", "Look at the gauge together, and note its number", "Reader E")
    for col, value in enumerate((*added, dt.date(2026, 9, 9)), start=1):
        copy["Agreed"].cell(4, col).value = value
    target = io.BytesIO()
    copy.save(target)
    named = [(target.getvalue(), "copy of the second reader, july.xlsx")]
    merged = merge_bytes((data, "twelve-stations.xlsx"), named, None).data
    assert merged is not None
    return merged


def _round() -> bytes:
    book = SAMPLES / "twelve-stations.xlsx"
    return round_page(assess_bytes(book.read_bytes(), book.name), book.name)


_KINDS: dict[str, Callable[[], bytes]] = {
    "blank": BLANK.read_bytes,
    "book": (SAMPLES / "twelve-stations.xlsx").read_bytes,
    "reviewed": REVIEWED.read_bytes,
    "reviewed, of another maker": lambda: reviewed_bytes(SAMPLES / "real-life-psi.xlsx"),
    "audited": lambda: audited(lean(REVIEWED.read_bytes()), REVIEWED.name)[1],
    "pack": small_pack,
    "seasons": _seasons,
    "mapping": _mapping,
    "merged": _merged,
    "round sheet": _round,
}
KINDS = tuple(_KINDS)


@cache
def produced(kind: str) -> bytes:
    """The workbook of one of `KINDS`."""
    return _KINDS[kind]()


def parts(data: bytes) -> dict[str, str]:
    """The XML parts of a package."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = [n for n in archive.namelist() if n.endswith((".xml", ".rels"))]
        return {name: archive.read(name).decode() for name in names}


_FORMULA = re.compile(
    r"<((?:\w+:)?(?:f|formula1?|formula2|calculatedColumnFormula|definedName))\b[^<>]*>([^<]+)</"
)


def formulas(data: bytes) -> Iterator[tuple[str, str]]:
    """Every formula of a package with its part: of cells, checks, formats, tables, names."""
    for part, xml in parts(data).items():
        if part.startswith("xl/"):
            for _, text in _FORMULA.findall(xml):
                yield part, unescape(text)
