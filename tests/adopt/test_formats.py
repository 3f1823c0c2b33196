"""The same table as .xlsx, .ods, .xls and .xlsm: the same readings."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from sample_workbooks.as_kept import Style, as_xlsx
from siltbook.batch.adopt.job import Source, look
from tests.adopt.farms import kept
from tests.office import Shared, needs_office

LAYOUTS = ("wide two headers", "sheet per station")


@cache
def book(layout: str) -> bytes:
    return as_xlsx(kept(Style(layout, title=True, junk=True)))


@needs_office
@pytest.mark.parametrize("ending", ["ods", "xls"])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_other_formats_give_the_same_readings(office: Shared, ending: str, layout: str) -> None:
    made = office.resaved(*map(book, LAYOUTS), to=ending)[LAYOUTS.index(layout)]
    source, other = Path("own.xlsx"), Path(f"own.{ending}")
    first = look([Source(source, book(layout))])
    second = look([Source(other, made)])
    keys = ("station", "date", "inlet", "outlet", "remark")
    told = [[{k: r.get(k) for k in keys} for r in one.rows.readings] for one in (first, second)]
    assert len(told[0]) == 15
    assert told[0] == told[1]
    assert second.asked == []


def test_a_book_with_macros_is_read_as_any_other() -> None:
    seen = look([Source(Path("own.xlsm"), as_xlsx(kept(Style())))])
    assert len(seen.rows.readings) == 15
