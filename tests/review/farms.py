"""The portfolio's books and their review for July 2026, for the tests of the review."""

from __future__ import annotations

import io
import sys
import warnings
from functools import cache, lru_cache
from types import ModuleType
from typing import Any

import openpyxl

from siltbook.batch.results import StationResult
from siltbook.batch.review.farm import FarmMonth, read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.batch.review.page import Pack
from siltbook.templates.safety import ANYTHING, cautions
from tests.lean import lean
from tests.samples.load import SAMPLES, load_make

FOLDER = SAMPLES / "portfolio"
JULY = Month(2026, 7)
FARMS = ("east", "hill", "north", "south", "west")


@cache
def portfolio() -> ModuleType:
    """The script that makes the portfolio."""
    load_make()
    return sys.modules["sample_workbooks.portfolio"]


@cache
def book(farm: str, year: int = 2026) -> bytes:
    """One farm's book, for example book('north')."""
    return lean((FOLDER / f"{farm}-{year}.xlsx").read_bytes())


@cache
def month(farm: str, year: int = 2026, number: int = 7) -> FarmMonth:
    """One farm's book, judged at the end of a month of its season."""
    return read_month(book(farm, year), f"{farm}-{year}.xlsx", Month(year, number))


@cache
def pack() -> Pack:
    """The pack of all five farms for July 2026, the season before for comparison."""
    now = [month(farm) for farm in FARMS]
    before = [read_month(book(f, 2025), f"{f}-2025.xlsx", JULY) for f in FARMS]
    return make_pack([*now, *before], JULY, "test")


@cache
def pack_file() -> bytes:
    """The same pack as a workbook."""
    return pack_bytes(pack())


def result(farm: str, station: str, year: int = 2026, number: int = 7) -> StationResult:
    """One station at the end of a month."""
    stations = month(farm, year, number).now.stations
    return next(r for r in stations if r.station.name == station)


def opened(package: bytes) -> openpyxl.Workbook:
    """A workbook with its stored values; openpyxl says that it cannot keep bars inside cells."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", ".* extension is not supported", UserWarning)
        return openpyxl.load_workbook(io.BytesIO(package))


_CAUTIONS = cautions(ANYTHING)  # they stand beneath some of the tables


def rows(package: bytes, sheet: str) -> list[dict[str, Any]]:
    """The rows of a pack's table by header, as openpyxl reads them."""
    listed = _listed(package, sheet)
    header = next(i for i, row in enumerate(listed) if "Farm" in row and len(set(row)) > 4)
    heads = [h for h in listed[header] if h]
    below = [row for row in listed[header + 1 :] if any(row) and row[0] not in _CAUTIONS]
    return [dict(zip(heads, row, strict=False)) for row in below]


@lru_cache(64)
def _listed(package: bytes, sheet: str) -> tuple[tuple[Any, ...], ...]:
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", ".* extension is not supported", UserWarning)
        page = openpyxl.load_workbook(io.BytesIO(package), read_only=True)[sheet]
        page.reset_dimensions()
        return tuple(page.iter_rows(values_only=True))
