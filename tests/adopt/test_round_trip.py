"""Every sample farm kept in every layout and adopted again: same readings, same verdicts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from sample_workbooks import flow, make, mixed, portfolio, rows, twelve
from sample_workbooks.as_kept import LAYOUTS, Style, as_xlsx, keep
from siltbook.batch.adopt.into import fill
from siltbook.batch.adopt.job import Source, look
from siltbook.batch.job import assess_bytes
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build

SAMPLES = ("twelve-stations.xlsx", "mixed-units.xlsx", "many-flows.xlsx")
WHOLE = ("list", "mixed", "sheet per station", "blocks", "sections", "months")  # keep times
ONE_A_DAY = tuple(layout for layout in LAYOUTS if layout not in WHOLE)
Lists = dict[str, list[dict[str, Any]]]


def lists_of(name: str) -> tuple[Lists, dict[str, object], BlankOptions]:
    """A sample's lists, settings and options, as its maker has them."""
    seasons, gauges = make._seasons(name)
    farm = {"twelve-stations.xlsx": twelve, "mixed-units.xlsx": mixed, "many-flows.xlsx": flow}[
        name
    ]
    unit_of_flow = "L/s" if farm is mixed else "m3/h"
    settings = rows.settings(farm.FARM, "bar", unit_of_flow, farm.REVIEW)
    return (
        rows.sheets(seasons, gauges, "bar"),
        settings,
        BlankOptions("bar", unit_of_flow, farm.FARM),
    )


def verdicts(book: bytes) -> dict[str, tuple[str, float | None]]:
    judged = assess_bytes(book, "farm.xlsx")
    return {
        one.history.station.name: (
            one.judgement.verdict.value,
            None if one.history.latest is None else round(one.history.latest.drop or 0.0, 6),
        )
        for one in judged.stations
    }


def adopted(lists: Lists, settings: dict[str, object], options: BlankOptions, layout: str) -> bytes:
    """The farm with its readings kept in one layout and adopted into a book without them."""
    empty = build(options, {**lists, "Readings": []}, settings)
    units = {str(s["station"]): str(s.get("unit", "bar")) for s in lists["Stations"]}
    sources = []
    for unit in dict.fromkeys(units.values()):
        readings = [r for r in lists["Readings"] if units[str(r["station"])] == unit]
        timed = any(r.get("time") for r in readings)
        style = Style(layout, unit=unit, times=timed, flow_unit=options.flow_unit)
        kept = keep(readings, style)
        sources.append(Source(Path(f"{unit}.xlsx"), as_xlsx(kept)))
    seen = look(sources, list(units))
    assert [q.text for q in seen.asked if not q.about.startswith("name ")] == []
    filled = fill(empty, "farm.xlsx", seen.rows, [])
    assert filled.conflicts == []
    assert filled.stations == []
    return filled.data or b""


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("layout", WHOLE)
def test_the_same_verdicts_as_filled_in_by_hand(name: str, layout: str) -> None:
    lists, settings, options = lists_of(name)
    by_hand = build(options, lists, settings)
    assert verdicts(adopted(lists, settings, options, layout)) == verdicts(by_hand)


# One station a file, as in the sample of mixed units, makes no wide table.
@pytest.mark.parametrize("name", [n for n in SAMPLES if n != "mixed-units.xlsx"])
@pytest.mark.parametrize("layout", ONE_A_DAY)
def test_the_same_verdicts_where_a_day_has_one_reading(name: str, layout: str) -> None:
    lists, settings, options = lists_of(name)
    first: dict[tuple[object, object], dict[str, Any]] = {}
    for r in lists["Readings"]:
        plain = {k: r[k] for k in ("station", "date", "inlet", "outlet") if k in r}
        first.setdefault((r["station"], r["date"]), plain)
    lists["Readings"], lists["Work done"] = list(first.values()), []
    by_hand = build(options, lists, settings)
    got, wanted = verdicts(adopted(lists, settings, options, layout)), verdicts(by_hand)
    if layout.startswith("drop"):  # what needs the inlet cannot be judged and is not compared
        got = {k: v for k, v in got.items() if wanted[k][0] not in ("check-supply", "re-read")}
        wanted = {k: wanted[k] for k in got}
    assert got == wanted


def test_the_portfolio_comes_back_as_it_was() -> None:
    for data in portfolio.files().values():
        book = read_book(data, "farm.xlsx").book
        unit = book.settings.pressure_unit
        raw = book.readings.raw
        readings = [
            {"station": r.station, "date": r.date, "time": r.time,
             "inlet": raw["inlet"].get(r.Index), "outlet": raw["outlet"].get(r.Index),
             "occasion": r.occasion}
            for r in book.readings.frame.itertuples()
        ]  # fmt: skip
        kept = keep(readings, Style(unit=unit, times=any(r["time"] for r in readings)))
        seen = look([Source(Path("own.xlsx"), as_xlsx(kept))], [])
        again = fill(data, "farm.xlsx", seen.rows, [])
        assert again.conflicts == []
        assert (again.readings, again.already) == (0, len(readings))
        assert len(seen.rows.readings) == len(readings)
