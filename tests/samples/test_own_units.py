"""Farms in psi and in kPa: no metre stands in any result that nobody typed."""

from __future__ import annotations

import html
import io
import re
import subprocess
import zipfile
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import pytest

from sample_workbooks import own_units
from siltbook.batch.archive.summary import summary
from siltbook.batch.audit.job import audited
from siltbook.batch.audit.report import lines
from siltbook.batch.paper.audit_paper import audit_paper
from siltbook.batch.paper.round_sheet import round_sheet
from siltbook.batch.paper.station_card import station_cards
from siltbook.batch.report.book import short_table
from siltbook.batch.review.farm import read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.templates.contract import AUDIT_SHEETS, RESULT_SHEETS
from tests.office import cells_of
from tests.paper.test_paper import needs_poppler
from tests.samples.load import SAMPLES, reviewed

NAMES = tuple(own_units.FARMS)
# A figure in metres, a header in metres, or the word; not m3, m2 or 'm³/h'.
METRE = re.compile(r"\d\s*m(?![\w³²/])|\(m\)|\bm/day|\bm per |\bmetres?\b")
LIVE = "Workings"  # has both units, and says so


def texts(package: bytes, sheets: tuple[str, ...]) -> Iterator[str]:
    """The texts of these sheets, or of all."""
    said = _said(package)
    for name in sheets or said:
        yield from said[name]


@lru_cache(8)
def _said(package: bytes) -> dict[str, tuple[str, ...]]:
    read = cells_of(package, values=True)
    return {
        sheet: tuple(cell.value for cell in cells if isinstance(cell.value, str))
        for sheet, cells in read.items()
    }


def drawn(package: bytes) -> Iterator[str]:
    """The words of charts and the sentences that stand for them."""
    with zipfile.ZipFile(io.BytesIO(package)) as parts:
        for part in parts.namelist():
            if "charts/chart" in part or "drawings/drawing" in part:
                xml = parts.read(part).decode()
                yield from (html.unescape(t) for t in re.findall(r"<a:t>([^<]*)", xml))
                yield from (html.unescape(t) for t in re.findall(r'descr="([^"]*)"', xml))


def metres(said: Iterator[str] | list[str]) -> list[str]:
    return [text for text in said if METRE.search(text)]


def test_a_metre_would_be_found() -> None:
    for text in ("drop 5.10 m on", "Limit (m)", "0.3 m/day", "12.5 m;", "metres of water"):
        assert metres([text])
    for text in ("12 m3", "14 m³/h", "at 8.1 m3/h", "7.5 psi", "2 months", "10 mg/L"):
        assert not metres([text])


@pytest.mark.parametrize("name", NAMES)
def test_every_station_ends_with_its_verdict(name: str) -> None:
    planned = {s.plan.name: s.plan.verdict for s in own_units.seasons(name)}
    found = {r.station.name: str(r.verdict) for r in reviewed(name).assessment.stations}
    assert found == planned


@pytest.mark.parametrize("name", NAMES)
def test_no_metre_stands_on_a_result_sheet_or_chart_or_in_the_terminal(name: str) -> None:
    made = reviewed(name)
    sheets = tuple(sheet for sheet in RESULT_SHEETS if sheet != LIVE)
    assert metres(texts(made.package, sheets)) == []
    assert metres(drawn(made.package)) == []
    assert metres(short_table(made.assessment, name)) == []
    unit = own_units.FARMS[name].gauge.unit
    headers = set(texts(made.package, (LIVE,)))
    assert {f"Drop ({unit})", "Drop (m)", f"Limit ({unit})", "Limit (m)"} <= headers


@pytest.mark.at_length(keep="psi")
@pytest.mark.parametrize("name", NAMES)
def test_no_metre_stands_in_the_audit(name: str) -> None:
    audit, package = audited(reviewed(name).package, name)
    assert metres(texts(package, AUDIT_SHEETS)) == []
    assert metres(lines(audit, name)) == []
    assert not [r for r in audit.results if r.rule.code == "rules-of-book" and r.places]


@pytest.mark.at_length(keep="psi")
@pytest.mark.parametrize("name", NAMES)
def test_no_metre_stands_in_the_review_pack(name: str) -> None:
    month = Month(2026, 8)
    farm = read_month((SAMPLES / name).read_bytes(), name, month)
    package = pack_bytes(make_pack([farm], month, "test"))
    assert metres(texts(package, ())) == []
    assert metres(drawn(package)) == []


def read(pdf: bytes, folder: Path) -> list[str]:
    page = folder / "page.pdf"
    page.write_bytes(pdf)
    done = subprocess.run(["pdftotext", "-layout", page, "-"], capture_output=True, check=True)
    return done.stdout.decode().splitlines()


@pytest.mark.at_length  # nor in the audit, a pack, on a sheet or in the terminal
@needs_poppler
@pytest.mark.parametrize("name", NAMES)
def test_no_metre_stands_on_a_page(name: str, tmp_path: Path) -> None:
    assessment, data = reviewed(name).assessment, (SAMPLES / name).read_bytes()
    said = read(summary(assessment, name, "test"), tmp_path)
    assert f"Drop ({own_units.FARMS[name].gauge.unit})" in " ".join(said)
    names = [result.station.name for result in assessment.stations]
    said += read(round_sheet(assessment, name, "test"), tmp_path)
    said += read(station_cards(assessment, name, "test", names), tmp_path)
    said += read(audit_paper(audited(data, name)[0], name, data, "test"), tmp_path)
    assert metres(said) == []
