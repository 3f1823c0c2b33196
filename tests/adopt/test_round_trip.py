"""Every sample farm kept in every layout and adopted again: same readings, same verdicts."""

from __future__ import annotations

import datetime as dt
from functools import cache
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from sample_workbooks import flow, make, mixed, real_life, rows, twelve
from sample_workbooks.as_kept import LAYOUTS, Style, as_xlsx, keep
from siltbook.batch.adopt.corrected import read_mapping
from siltbook.batch.adopt.into import fill
from siltbook.batch.adopt.job import Source, look, use
from siltbook.batch.adopt.mapping import write
from siltbook.batch.adopt.model import Harvest
from siltbook.batch.job import assess_bytes
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build
from tests.adopt.test_command import change, find
from tests.amount import LONG, crossed

SAMPLES_AT = Path(__file__).resolve().parents[2] / "sample_workbooks"
SAMPLES = ("twelve-stations.xlsx", "mixed-units.xlsx", "many-flows.xlsx", "real-life-psi.xlsx")
WHOLE = ("list", "mixed", "sheet per station", "blocks", "sections", "months")  # keep times
ONE_A_DAY = tuple(layout for layout in LAYOUTS if layout not in WHOLE)
KEPT = ("station", "date", "inlet", "outlet", "drop")  # of a table with one reading a day
Lists = dict[str, list[dict[str, Any]]]
Verdicts = dict[str, str]
Read = list[tuple[object, ...]]


@cache
def lists_of(name: str) -> tuple[Lists, dict[str, object], BlankOptions]:
    """A sample's lists as a farm fills them in by hand, its settings and options."""
    seasons, gauges = make._seasons(name)
    farm, title, unit, unit_of_flow = {
        "twelve-stations.xlsx": (twelve, twelve.FARM, "bar", "m3/h"),
        "mixed-units.xlsx": (mixed, mixed.FARM, "bar", "L/s"),
        "many-flows.xlsx": (flow, flow.FARM, "bar", "m3/h"),
        "real-life-psi.xlsx": (real_life, real_life.FARM_NAME, "psi", "L/min"),
    }[name]
    settings = rows.settings(title, unit, unit_of_flow, farm.REVIEW)
    lists = rows.sheets(seasons, gauges, unit)
    if farm is twelve:
        lists["Readings"] += [dict(row) for row in twelve.PUMP_OFF]
    return lists, settings, BlankOptions(unit, unit_of_flow, title)


@cache
def kept_by(name: str, daily: bool) -> Lists:
    """A sample's lists; `daily` as a table with a column a station keeps them: one reading a day,
    no times, no work."""
    lists = lists_of(name)[0]
    if not daily:
        return lists
    first: dict[tuple[object, object], dict[str, Any]] = {}
    for row in lists["Readings"]:
        plain = {k: row[k] for k in KEPT if k in row}
        first.setdefault((row["station"], row["date"]), plain)
    return {**lists, "Readings": list(first.values()), "Work done": []}


@cache
def by_hand(name: str, daily: bool) -> tuple[Verdicts, Read]:
    """Verdicts and readings of the farm filled in by hand in the template."""
    _, settings, options = lists_of(name)
    return judged(build(options, kept_by(name, daily), settings))


@cache
def without_readings(name: str, daily: bool) -> bytes:
    _, settings, options = lists_of(name)
    return build(options, {**kept_by(name, daily), "Readings": []}, settings)


def judged(book: bytes) -> tuple[Verdicts, Read]:
    """Station -> verdict, and every reading as it counts: pressures in metres, rounded."""
    stations = assess_bytes(book, "farm.xlsx").stations
    verdicts = {one.history.station.name: one.judgement.verdict.value for one in stations}
    readings = sorted(
        (one.history.station.name, r.date, r.time or dt.time(0), r.occasion,
         *(rounded(v) for v in (r.inlet, r.outlet, r.drop, r.flow, r.field)), r.why_unusable)
        for one in stations for r in one.history.readings
    )  # fmt: skip
    return verdicts, readings


def rounded(value: float | None) -> float:
    return -1.0 if value is None else round(value, 6)


def sources_of(name: str, layout: str, daily: bool) -> list[Source]:
    """The sample's readings in one layout, a file for each unit that its gauges have."""
    lists, _, options = lists_of(name)
    farm_unit = options.pressure_unit
    units = {str(s["station"]): str(s.get("unit", farm_unit)) for s in lists["Stations"]}
    sources = []
    for unit in dict.fromkeys(units.values()):
        readings = [r for r in kept_by(name, daily)["Readings"] if units[r["station"]] == unit]
        timed = any(r.get("time") for r in readings)
        style = Style(layout, unit=unit, times=timed, flow_unit=options.flow_unit)
        path = Path(f"{unit.replace('/', ' ')}.xlsx")
        sources.append(Source(path, as_xlsx(keep(readings, style))))
    return sources


def adopted(name: str, layout: str, daily: bool) -> bytes:
    """The farm with its readings kept in one layout and adopted into a book without them."""
    register = {s["station"]: s["station"] for s in lists_of(name)[0]["Stations"]}
    seen = look(sources_of(name, layout, daily), register)
    assert [q.text for q in seen.asked if not q.about.startswith("name ")] == []
    filled = fill(without_readings(name, daily), "farm.xlsx", seen.rows, [])
    assert filled.conflicts == []
    assert filled.stations == []
    return filled.data or b""


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(("name", "layout"), crossed(SAMPLES, WHOLE))
def test_the_same_verdicts_as_filled_in_by_hand(name: str, layout: str) -> None:
    assert judged(adopted(name, layout, daily=False)) == by_hand(name, False)


# One station a file, as in the sample of mixed units, makes no wide table that names it.
@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("name", "layout"), crossed([n for n in SAMPLES if n != "mixed-units.xlsx"], ONE_A_DAY)
)
def test_the_same_verdicts_where_a_day_has_one_reading(name: str, layout: str) -> None:
    verdicts, readings = judged(adopted(name, layout, daily=True))
    wanted, read = by_hand(name, True)
    if layout.startswith("drop"):  # what needs the inlet cannot be judged and is not compared
        unknown = [k for k, v in wanted.items() if v in ("check-supply", "re-read")]
        verdicts = {k: v for k, v in verdicts.items() if k not in unknown}
        wanted = {k: v for k, v in wanted.items() if k not in unknown}
        # The sides are not in the source; a pair that cannot be true is no longer known as such.
        read = [(*r[:4], -1.0, -1.0, *r[6:9]) for r in read if not r[9]]
        readings = [r[:9] for r in readings if (r[0], r[1]) in {(q[0], q[1]) for q in read}]
    assert readings == read
    assert verdicts == wanted


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("layout", ONE_A_DAY)
def test_one_station_a_file_is_asked_for_and_gives_the_same_verdicts(
    layout: str, tmp_path: Path
) -> None:
    """The farm of mixed units: a file for each unit, each with one station, by its mapping."""
    name = "mixed-units.xlsx"
    together = Harvest()
    stations = {str(s["station"]): str(s["station"]) for s in lists_of(name)[0]["Stations"]}
    for station, source in zip(stations, sources_of(name, layout, daily=True), strict=True):
        seen = look([source], stations)
        mapping = tmp_path / f"{station}.mapping.xlsx"
        prints = {source.path.name: source.print}
        mapping.write_bytes(write(seen.made, seen.asked, seen.rows, prints, ""))
        answer(mapping, station)
        used = use([source], read_mapping(mapping.read_bytes(), mapping.name), stations)
        assert used.asked == []
        together.readings += used.rows.readings
    filled = fill(without_readings(name, True), "farm.xlsx", together, [])
    assert (filled.conflicts, filled.stations) == ([], [])
    book = filled.data or b""
    drops = layout.startswith("drop")
    (verdicts, readings), (wanted, read) = judged(book), by_hand(name, True)
    kept = slice(6, 9) if drops else slice(4, 9)  # the sides are not in a table of drops
    assert [(*r[:4], *r[kept]) for r in readings] == [(*r[:4], *r[kept]) for r in read]
    assert verdicts == wanted


def answer(mapping: Path, station: str) -> None:
    """Answer what a mapping asks, as a person would: which station, and which side is which."""
    book = openpyxl.load_workbook(mapping)
    for row in book["Questions"].iter_rows(min_row=5):
        about = str(row[0].value or "")
        if about.endswith("taken for"):
            row[4].value = "outlet" if "Outlet" in str(row[2].value) else "drop"
        elif about.startswith("station of"):
            row[4].value = station
    for row in book["Columns"].iter_rows(min_row=5):
        if row[9].value:  # a name that holds a side and a unit is not cut out of a header right
            row[9].value = station
    for row in book["Stations"].iter_rows(min_row=5):
        row[2].value = station if row[0].value else None
    book.save(mapping)


@pytest.mark.at_length  # the samples above come back as well
def test_a_messy_list_of_its_own_gives_the_verdicts_of_the_same_list_in_the_template(
    tmp_path: Path,
) -> None:
    """The real-life sample's own sheet: dates as text, units in cells, names with odd capitals."""
    name = "real-life-psi.xlsx"
    source = Source(SAMPLES_AT / name, (SAMPLES_AT / name).read_bytes())
    stations = {str(s["station"]): str(s["station"]) for s in lists_of(name)[0]["Stations"]}
    seen = look([source], stations)
    mapping = tmp_path / "own.mapping.xlsx"
    mapping.write_bytes(
        write(seen.made, seen.asked, seen.rows, {source.path.name: source.print}, "")
    )
    answers = (
        ("pressure unit", "psi"), ("flow unit", "L/min"),
        ("T2.F taken for", "leave out"), ("T2.I taken for", "leave out"),
    )  # fmt: skip
    for about, said in answers:
        change(mapping, "Questions", f"E{find(mapping, 'Questions', about)}", said)
    told = [c.value for row in openpyxl.load_workbook(mapping)["Columns"] for c in row]
    assert "06:45" in told  # times as times, not as fractions of a day
    assert "'Lowest inlet in flush' may name more than one thing" in told
    used = use([source], read_mapping(mapping.read_bytes(), mapping.name), stations)
    filled = fill(without_readings(name, False), "farm.xlsx", used.rows, [])
    assert filled.stations == ["P9 Nowhere"]  # whom the farm's own register does not know
    verdicts, readings = judged(filled.data or b"")
    wanted, read = judged(source.data)
    del verdicts["P9 Nowhere"]
    assert verdicts == wanted
    assert [r for r in readings if r[0] != "P9 Nowhere"] == read


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("number", range(10 if LONG else len(WHOLE)))  # each layout
def test_the_portfolio_comes_back_as_it_was(number: int) -> None:
    """Each book's readings in one or another layout are the rows that it has already."""
    data = sorted((SAMPLES_AT / "portfolio").glob("*.xlsx"))[number].read_bytes()
    book = read_book(data, "farm.xlsx").book
    raw, unit = book.readings.raw, book.settings.pressure_unit
    readings = [
        {"station": r.station, "date": r.date, "time": r.time,
         "inlet": raw["inlet"].get(r.Index), "outlet": raw["outlet"].get(r.Index),
         "occasion": r.occasion}
        for r in book.readings.frame.itertuples()
    ]  # fmt: skip
    times = any(r["time"] for r in readings)
    kept = keep(readings, Style(WHOLE[number % len(WHOLE)], unit=unit, times=times))
    seen = look([Source(Path("own.xlsx"), as_xlsx(kept))])
    again = fill(data, "farm.xlsx", seen.rows, [])
    assert again.conflicts == []
    assert (again.readings, again.already) == (0, len(readings))
    assert len(seen.rows.readings) == len(readings)
