"""Rules that the book sets for itself."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping

from siltbook.batch.audit.model import Place, RuleResult, looked
from siltbook.batch.audit.rules import RULES
from siltbook.templates.book import Book, Settings
from siltbook.templates.contract import FARM, PRESSURE_UNITS, STATIONS, Kind
from siltbook.templates.own_unit import columns as columns_in
from siltbook.templates.own_unit import usual_in
from siltbook.templates.shown import METRE
from siltbook.templates.units import known_unit, metres_per, pressure_spellings

# key -> unit as it is said; what decides a verdict, and has one default for every farm
ASKED: Mapping[str, str] = {
    "drop_limit": "m", "watch_share": "", "flush_inlet": "m", "flush_cycles": "",
    "interval": "days",
}  # fmt: skip
TOLERANCE = 0.005  # of the default: 29.0 psi is 2 bar
GAUGE = ("gauges", "full_scale", "gauge_class", "division")
# '6 m', '0,6 bar': never a part of a date, a time or another number.
_UNITS = "|".join(sorted((re.escape(s) for s, _ in pressure_spellings()), key=len, reverse=True))
_PRESSURE = re.compile(rf"(?<![\w.,:/-])(\d+(?:[.,]\d+)?)\s*({_UNITS})(?![\w/])", re.IGNORECASE)
_REMARK_FROM = 3  # 0-based column of the sheet Farm; the template's own help stands there


def rules_of_book(book: Book, data: bytes) -> RuleResult:
    """Settings and stations' limits that differ from the default with no remark beside them.

    Units and gauges have no default for every farm: those that are not the farm's own are said
    for the record.
    """
    remarks = _remarks(book, data)
    places = [*_settings(book, remarks), *_limits(book)]
    places.sort(key=lambda place: place.holds)
    quiet = "Limit, watch share, flush rules and interval are the defaults."
    if places:
        quiet = f"What differs from the default has a remark: {places[0].said}."
    record = [*_units(book), *_unlike_gauges(book), *_new_gauges(book)]
    if record:
        many = f"{len(record)} units and gauges are" if len(record) > 1 else "1 unit or gauge is"
        quiet += f" {many} not as at most stations, with no remark; the first: {record[0].said}."
    return looked(RULES["rules-of-book"], [*places, *record], quiet, many="rules differ")


def _settings(book: Book, remarks: Mapping[str, str]) -> Iterator[Place]:
    usual = Settings()
    for key, unit in ASKED.items():
        now, then = (float(getattr(s, key)) for s in (book.settings, usual))
        if abs(now - then) <= TOLERANCE * then or (unit == METRE and usual_in(key, now)):
            continue
        title, remark = FARM.column(key).header, remarks.get(key, "")
        shown = f"{now:.4g} {unit}".strip()
        usual_is = f"{then:.4g}"
        if unit == METRE:
            shown, usual_is = (book.settings.shown.exact(value) for value in (now, then))
        said = f"{title} is {shown}, by default {usual_is}"
        said += f"; remark: {remark}" if remark else "; no remark says why"
        yield Place(book.farm_sheet, book.setting_cells.get(key, ""), said, holds=bool(remark))


def _limits(book: Book) -> Iterator[Place]:
    """Stations with a limit of their own; the remark must speak of the limit."""
    frame, farm = book.stations.frame, book.settings.drop_limit
    say = book.settings.shown.exact
    for row, name, limit, remark in zip(
        frame.index, frame["station"], frame["drop_limit"], frame["remark"], strict=True
    ):
        if not isinstance(name, str) or not abs(limit - farm) > TOLERANCE * farm:
            continue
        text = remark if isinstance(remark, str) else ""
        told = _speaks_of(text, limit)
        said = f"{name}: drop limit {say(limit)}, the farm's is {say(farm)}"
        said += f"; remark: {text}" if told else "; no remark says why"
        cell = book.stations.cell("drop_limit", int(row))
        yield Place(book.stations.sheet, cell, said, name, holds=told)


def _speaks_of(remark: str, limit: float) -> bool:
    """Whether a remark names the limit [m], by that word or as a pressure with its unit.

    A bare number does not count: it may be a pump's, a mesh or a part of a date.
    """
    if "limit" in remark.casefold():
        return True
    for number, unit in _PRESSURE.findall(remark):
        metres = float(number.replace(",", ".")) * metres_per(known_unit(unit) or METRE)
        if abs(metres - limit) <= TOLERANCE * limit:
            return True
    return False


def _units(book: Book) -> Iterator[Place]:
    """Stations whose pressures are in another unit than the farm's, with no remark on it."""
    farm = book.settings.pressure_unit
    for row, name, unit, remark in _columns(book, "unit"):
        if isinstance(unit, str) and unit != farm and not _speaks(remark, "unit", unit):
            said = f"{name}: pressures in {unit}, the farm's in {farm}; no remark says why"
            cell = book.stations.cell("unit", row)
            yield Place(book.stations.sheet, cell, said, name, holds=True)


def _unlike_gauges(book: Book) -> Iterator[Place]:
    """Stations with another gauge than more than half of those that say which they have."""
    for key in GAUGE:
        rows = [one for one in _columns(book, key) if one[2] is not None and one[2] == one[2]]
        usual, many = next(iter(Counter(one[2] for one in rows).most_common(1)), (None, 0))
        column, say = STATIONS.column(key), book.settings.shown.exact
        for row, name, value, remark in rows if many > len(rows) / 2 else ():
            if value == usual or _speaks(remark, "gauge"):
                continue
            now, most = (
                str(v) if not isinstance(v, float)
                else say(v) if column.kind is Kind.PRESSURE else f"{v:.4g}"
                for v in (value, usual)
            )  # fmt: skip
            said = f"{name}: {column.header} {now}, at most stations {most}; no remark says why"
            cell = book.stations.cell(key, row)
            yield Place(book.stations.sheet, cell, said, name, holds=True)


def _new_gauges(book: Book) -> Iterator[Place]:
    """Gauges that were changed during the season, with no remark."""
    table, day = book.gauges, book.settings.shown.day
    frame = table.frame
    for row, name, since, remark in zip(
        frame.index, frame["station"], frame["since"], frame["remark"], strict=True
    ):
        if isinstance(name, str) and not isinstance(remark, str):
            said = f"{name}: another gauge from {day(since)}; no remark says why"
            yield Place(table.sheet, table.cell("since", int(row)), said, name, holds=True)


def _columns(book: Book, key: str) -> Iterator[tuple[int, str, object, str]]:
    """Row, station, one cell [canonical unit], and remark of each station."""
    frame = book.stations.frame
    for row, name, value, remark in zip(
        frame.index, frame["station"], frame[key], frame["remark"], strict=True
    ):
        if isinstance(name, str):
            yield int(row), name, value, remark if isinstance(remark, str) else ""


def _speaks(remark: str, *words: str) -> bool:
    """Whether a remark has one of these words, or its plural; 'barn' is no bar."""
    found = "|".join(map(re.escape, words))
    return re.search(rf"(?<!\w)(?:{found})s?(?!\w)", remark, re.IGNORECASE) is not None


def _remarks(book: Book, data: bytes) -> dict[str, str]:
    """Setting -> what somebody wrote beside it, other than the template's own help."""
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.sheetxml import read_sheet
    from siltbook.batch.reading.workbook import open_workbook

    workbook = open_workbook(open_package(data, book.path), book.path)
    part = next((p for p in workbook.sheets if p.name == book.farm_sheet), None)
    if part is None:
        return {}
    helps = {" ".join(c.help.split()) for u in PRESSURE_UNITS for c in columns_in(FARM, u)}
    found: dict[str, str] = {}
    columns = read_sheet(workbook, part).columns
    for key, cell in book.setting_cells.items():
        row = int("".join(c for c in cell if c.isdigit()))
        for place in sorted(c for c in columns if c >= _REMARK_FROM):
            text = next((v for r, v in zip(columns[place].rows, columns[place].values, strict=True)
                         if r == row and isinstance(v, str)), "")  # fmt: skip
            text = " ".join(text.split())
            if text and text not in helps:
                found.setdefault(key, text)
    return found
