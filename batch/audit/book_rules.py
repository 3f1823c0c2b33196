"""Rules that the book sets for itself, and what reviews agreed on."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence

from siltbook.batch.audit.model import Place, RuleResult, State, Taken, looked
from siltbook.batch.audit.procedure import counted
from siltbook.batch.audit.rules import RULES
from siltbook.batch.model import History
from siltbook.templates.book import Book, Settings
from siltbook.templates.contract import FARM, PRESSURE_UNITS, STATIONS, Kind
from siltbook.templates.own_unit import columns as columns_in
from siltbook.templates.own_unit import usual_in
from siltbook.templates.shown import METRE

# key -> unit as it is said; what decides a verdict, and has one default for every farm
ASKED: Mapping[str, str] = {
    "drop_limit": "m", "watch_share": "", "flush_inlet": "m", "flush_cycles": "",
    "interval": "days",
}  # fmt: skip
TOLERANCE = 0.005  # of the default: 29.0 psi is 2 bar
GAUGE = ("gauges", "full_scale", "gauge_class", "division")
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
        told = "limit" in text.casefold() or f"{limit:g}" in text or say(limit).split()[0] in text
        said = f"{name}: drop limit {say(limit)}, the farm's is {say(farm)}"
        said += f"; remark: {text}" if told else "; no remark says why"
        cell = book.stations.cell("drop_limit", int(row))
        yield Place(book.stations.sheet, cell, said, name, holds=told)


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
        title = STATIONS.column(key).header
        for row, name, value, remark in rows if many > len(rows) / 2 else ():
            if value == usual or _speaks(remark, "gauge"):
                continue
            now, most = (f"{v:.4g}" if isinstance(v, float) else str(v) for v in (value, usual))
            unit = " m" if STATIONS.column(key).kind is Kind.PRESSURE else ""
            said = f"{name}: {title} {now}{unit}, at most stations {most}; no remark says why"
            cell = book.stations.cell(key, row)
            yield Place(book.stations.sheet, cell, said, name, holds=True)


def _new_gauges(book: Book) -> Iterator[Place]:
    """Gauges that were changed during the season, with no remark."""
    table = book.gauges
    frame = table.frame
    for row, name, since, remark in zip(
        frame.index, frame["station"], frame["since"], frame["remark"], strict=True
    ):
        if isinstance(name, str) and not isinstance(remark, str):
            said = f"{name}: another gauge from {since}; no remark says why"
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
    return any(word.casefold() in remark.casefold() for word in words)


def _remarks(book: Book, data: bytes) -> dict[str, str]:
    """Setting -> what somebody wrote beside it, other than the template's own help."""
    from siltbook.batch.reading.opc import open_package
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


def agreed_done(book: Book, histories: Sequence[History], as_of: dt.date) -> RuleResult:
    """Agreed actions that were due: done by their day, later, or not; with what came of them."""
    by_name = {h.station.name: h for h in histories}
    frame, say = book.agreed.frame, book.settings.shown.drop
    places = []
    columns = (frame[key] for key in ("station", "action", "who", "due", "done"))
    for row, station, action, who, *days_of in zip(frame.index, *columns, strict=True):
        due, done = (d if isinstance(d, dt.date) else None for d in days_of)
        if (due is None and done is None) or (done is None and due is not None and due >= as_of):
            continue
        taken, days = _agreed(due, done, as_of)
        said = f"{station}: {action}, due {due or 'on no day'}, "
        history = by_name.get(str(station))
        said += f"done {done}{_effect(history, done, say)}" if done else "not done"
        cell = book.agreed.cell("due", int(row))
        person = who if isinstance(who, str) else ""
        name = str(station) if station in by_name else ""
        holds = taken is Taken.IN_TIME
        places.append(Place(book.agreed.sheet, cell, said, name, None, holds, taken, person, days))
    if not places:
        said = "Nothing agreed was due."
        return RuleResult(RULES["agreed-done"], State.CANNOT, said, None, 0, 0)
    places.sort(key=lambda place: (place.holds, -place.days))
    return counted(RULES["agreed-done"], places)


def _agreed(due: dt.date | None, done: dt.date | None, as_of: dt.date) -> tuple[Taken, int]:
    if due is None:
        return Taken.CANNOT, 0
    if done is None:
        return Taken.NOT_TAKEN, (as_of - due).days
    late = (done - due).days
    return (Taken.LATE, late) if late > 0 else (Taken.IN_TIME, 0)


def _effect(history: History | None, done: dt.date, say: Callable[[float], str]) -> str:
    """The drop before and after the day on which it was done, where both were read."""
    if history is None:
        return ""
    usable = [r for r in history.readings if r.usable and r.drop is not None]
    before = [r for r in usable if r.date <= done and r.occasion == "routine"]
    after = [r for r in usable if r.date > done or (r.date == done and r.occasion != "routine")]
    if not before or not after:
        return ""
    first, then = before[-1].drop, after[0].drop
    return f"; drop {say(first)} before, {say(then)} after" if first and then else ""
