"""Readings as people keep them before they know Siltbook: every layout that 'adopt' understands.

One season's rows become a list, a wide table, a sheet or a block for each station, a table of
drops, or readings and work mixed; in six languages, several units and ways of writing dates.
Everything is invented. `Kept.truth` says what each column really is, for tests and benchmarks.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

Row = Mapping[str, Any]
LAYOUTS = (
    "list", "wide one header", "wide two headers", "sides over stations", "sheet per station",
    "blocks", "sections", "drop list", "drop wide", "mixed", "dates across", "side by side",
    "months",
)  # fmt: skip
_KEYS = (
    "date", "station", "inlet", "outlet", "drop", "flow", "note", "work", "read_by", "total",
    "title", "block", "time", "other", "occasion", "field",
)  # fmt: skip
_WORDS = {
    "en": "Date|Station|Inlet|Outlet|Pressure drop|Flow|Notes|Work|Read by|Average|Filter "
    "readings|Station|Time|Weather|Occasion|Field pressure",
    "es": "Fecha|Estación|Presión entrada|Presión salida|Pérdida de "
    "carga|Caudal|Observaciones|Trabajo|Operario|Promedio|Lecturas de "
    "filtros|Estación|Hora|Clima|Motivo|Presión campo",
    "pt": "Data|Estação|Pressão entrada|Pressão saída|Perda de "
    "carga|Vazão|Observações|Trabalho|Operador|Média|Leituras dos "
    "filtros|Estação|Hora|Clima|Motivo|Pressão no campo",
    "fr": "Date|Filtre|Pression amont|Pression aval|Perte de "
    "charge|Débit|Remarques|Travaux|Opérateur|Moyenne|Relevés des "
    "filtres|Filtre|Heure|Météo|Motif|Pression parcelle",
    "it": "Data|Stazione|Pressione ingresso|Pressione uscita|Perdita di "
    "carico|Portata|Osservazioni|Lavori|Operatore|Media|Letture dei "
    "filtri|Stazione|Ora|Meteo|Motivo|Pressione in campo",
    "de": "Datum|Filterstation|Druck vor Filter|Druck nach "
    "Filter|Druckverlust|Durchfluss|Bemerkungen|Arbeiten|Ableser|Mittelwert|Ablesungen"
    " der Filter|Station|Uhrzeit|Wetter|Anlass|Felddruck",
}  # fmt: skip
WORDS = {k: dict(zip(_KEYS, v.split("|"), strict=True)) for k, v in _WORDS.items()}
MONTHS = {
    "en": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "es": "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre "
    "diciembre",
    "pt": "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro "
    "dezembro",
    "fr": "janvier février mars avril mai juin juillet août septembre octobre novembre "
    "décembre",
    "it": "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre "
    "novembre dicembre",
    "de": "Januar Februar März April Mai Juni Juli August September Oktober November "
    "Dezember",
}  # fmt: skip


MEASURED = ("inlet", "outlet", "drop", "flow", "field")


@dataclass(frozen=True)
class Style:
    """How somebody keeps readings. `dates`: cell, iso, dmy, mdy, named; `unit_in`: bracket, row,
    title or nowhere; `texts`: numbers stand as text with this decimal mark, '' for number cells."""

    layout: str = "list"
    language: str = "en"
    unit: str = "bar"
    dates: str = "cell"
    unit_in: str = "bracket"
    texts: str = ""
    title: bool = False
    junk: bool = False
    extra: bool = False
    times: bool = False
    flow_unit: str = "m3/h"


@dataclass
class Kept:
    """Sheets as rows of cells, merged ranges (0-based), and what each column really is."""

    style: Style
    sheets: dict[str, list[list[object]]] = field(default_factory=dict)
    merged: dict[str, list[tuple[int, int, int, int]]] = field(default_factory=dict)
    truth: dict[tuple[str, int], tuple[str, str, str]] = field(default_factory=dict)


class _Maker:
    def __init__(self, style: Style, readings: Sequence[Row]) -> None:
        self.style, self.words = style, WORDS[style.language]
        self.readings = readings
        self.stations = list(dict.fromkeys(str(r["station"]) for r in readings))
        self.days = sorted({r["date"] for r in readings})
        self.kept = Kept(style)
        self.noted = any(r.get("remark") for r in readings)
        self.flowing = any(r.get("flow") is not None for r in readings)

    # cells

    def day(self, date: dt.date) -> object:
        how = self.style.dates
        if how == "cell":
            return date
        if how == "named":
            return f"{date.day} {MONTHS[self.style.language].split()[date.month - 1]} {date.year}"
        return date.strftime({"iso": "%Y-%m-%d", "dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y"}[how])

    def number(self, value: object) -> object:
        if value is None or not self.style.texts:
            return value
        return f"{value:.10g}".replace(".", self.style.texts)

    def head(self, role: str) -> str:
        unit = {"flow": self.style.flow_unit}.get(role, self.style.unit)
        word = self.words[role]
        wanted = self.style.unit_in == "bracket" or role == "flow"
        return f"{word} ({unit})" if wanted and role in MEASURED else word

    def top(self) -> list[list[object]]:
        """Title rows above a table."""
        rows: list[list[object]] = []
        if self.style.title or self.style.unit_in == "title":
            said = f" ({self.style.unit})" if self.style.unit_in == "title" else ""
            rows += [[f"{self.words['title']} 2026{said}"], []]
        return rows

    def units(self, roles: Sequence[str]) -> list[list[object]]:
        """A row of units under the header, where they stand there."""
        if self.style.unit_in != "row":
            return []
        unit = dict.fromkeys(("inlet", "outlet", "drop", "field"), self.style.unit)
        return [[f"({unit[r]})" if r in unit else None for r in roles]]

    def tell(self, sheet: str, roles: Sequence[str], stations: Sequence[str] = ()) -> None:
        """Record the truth of one table's columns from the left."""
        for i, role in enumerate(roles):
            pressure = role in ("inlet", "outlet", "drop", "field")
            unit = self.style.unit if pressure else ""
            unit = self.style.flow_unit if role == "flow" else unit
            station = stations[i] if stations and stations[i] else ""
            self.kept.truth[sheet, i] = (role, unit, station)

    # one row for one reading

    def cells(self, row: Row, roles: Sequence[str]) -> list[object]:
        made: list[object] = []
        for role in roles:
            if role == "date":
                made.append(self.day(row["date"]))
            elif role in ("inlet", "outlet", "flow", "field"):
                made.append(self.number(row.get(role)))
            elif role == "drop":
                made.append(self.number(drop_of(row)))
            elif role == "time":
                made.append(row["time"].strftime("%H:%M") if row.get("time") else None)
            elif role == "leave out":
                made.append("clear")
            else:
                key = {"note": "remark", "read by": "read_by"}.get(role, role)
                made.append(row.get(key))
        return made

    def plain(self, sheet: str, rows: Sequence[Row], roles: list[str], title: str = "") -> None:
        """A table with a header row and one row for each reading."""
        made = self.kept.sheets.setdefault(sheet, [])
        made += [[title]] if title else self.top()
        names = {"note": "note", "read by": "read_by", "leave out": "other"}
        made.append([self.head(names.get(r, r)) for r in roles])
        made += self.units(roles)
        body = [self.cells(r, roles) for r in rows]
        if self.style.junk and len(body) > 2:
            body.insert(len(body) // 2, [])
            body.append(self.average(rows, roles))
        made += body
        self.tell(sheet, roles)

    def average(self, rows: Sequence[Row], roles: Sequence[str]) -> list[object]:
        made: list[object] = [self.words["total"]]
        for role in roles[1:]:
            values = [
                r[role] for r in rows if role in ("inlet", "outlet") and r.get(role) is not None
            ]
            made.append(self.number(round(sum(values) / len(values), 3)) if values else None)
        return made

    def roles(self, *measured: str, station: bool = True) -> list[str]:
        made = ["date"]
        made += ["time"] if self.style.times else []
        made += ["station"] if station else []
        made += measured
        made += ["flow"] if self.flowing and "inlet" in measured else []
        made += ["leave out"] if self.style.extra else []
        fielded = any(r.get("field") is not None for r in self.readings)
        made += ["field"] if fielded and "inlet" in measured else []
        told = any(r.get("occasion") for r in self.readings)
        made += ["occasion"] if told and "inlet" in measured else []
        return made + (["note"] if self.noted else [])

    # layouts

    def list(self) -> None:
        self.plain("Readings", self.readings, self.roles("inlet", "outlet"))

    def drop_list(self) -> None:
        self.plain("Drops", self.readings, self.roles("drop"))

    def mixed(self) -> None:
        roles = ["station", *self.roles("inlet", "outlet", station=False)]
        self.plain("Log", self.readings, [*roles, "read by"])

    def sheet_per_station(self) -> None:
        for name in self.stations:
            rows = [r for r in self.readings if r["station"] == name]
            self.plain(name, rows, self.roles("inlet", "outlet", station=False))

    def months(self) -> None:
        names = MONTHS[self.style.language].split()
        for month in sorted({d.month for d in self.days}):
            rows = [r for r in self.readings if r["date"].month == month]
            self.plain(f"{names[month - 1]} 2026", rows, self.roles("inlet", "outlet"))

    def blocks(self) -> None:
        roles = self.roles("inlet", "outlet", station=False)
        for name in self.stations:
            rows = [r for r in self.readings if r["station"] == name]
            self.plain("Readings", rows, roles, f"{self.words['block']}: {name}")
            self.kept.sheets["Readings"].append([])

    def sections(self) -> None:
        roles = self.roles("inlet", "outlet", station=False)
        made = self.kept.sheets.setdefault("Readings", self.top())
        names = {"read by": "read_by", "leave out": "other"}
        made.append([self.head(names.get(r, r)) for r in roles])
        made += self.units(roles)
        for name in self.stations:
            made.append([name])
            made += [self.cells(r, roles) for r in self.readings if r["station"] == name]
        self.tell("Readings", roles)

    def by_day(self) -> list[tuple[dt.date, dict[str, Row]]]:
        """For each day its reading by station; several on a day become several rows."""
        found: list[tuple[dt.date, dict[str, Row]]] = []
        for day in self.days:
            rest = [r for r in self.readings if r["date"] == day]
            while rest:
                row: dict[str, Row] = {}
                for r in rest:
                    row.setdefault(str(r["station"]), r)
                found.append((day, row))
                rest = [r for r in rest if r is not row[str(r["station"])]]
        return found

    def wide(self, header: Callable[[list[str]], list[list[object]]], measured: Sequence[str],
             by_side: bool = False) -> None:  # fmt: skip
        sheet = "Readings"
        pairs = [(s, m) for s in self.stations for m in measured]
        if by_side:
            pairs = [(s, m) for m in measured for s in self.stations]
        noted = self.noted and not self.style.times
        roles = ["date", *(m for _, m in pairs), *(["note"] if noted else [])]
        made = self.kept.sheets.setdefault(sheet, self.top())
        self.kept.merged.setdefault(sheet, [])
        made += header(roles)
        made += self.units(roles)
        for day, by in self.by_day():
            cells = [
                self.number(drop_of(by[s]) if m == "drop" else by[s].get(m)) if s in by else None
                for s, m in pairs
            ]
            notes = "; ".join(f"{s} {r['remark']}" for s, r in by.items() if r.get("remark"))
            made.append([self.day(day), *cells, *([notes or None] if noted else [])])
        self.tell(sheet, roles, ["", *(s for s, _ in pairs), *([""] if noted else [])])

    def wide_one_header(self) -> None:
        short = [(s, m) for s in self.stations for m in ("inlet", "outlet")]
        self.wide(
            lambda roles: [[
                self.words["date"], *(f"{s} {self.head(m)}" for s, m in short),
                *([self.words["note"]] if roles[-1] == "note" else []),
            ]],
            ("inlet", "outlet"),
        )  # fmt: skip

    def wide_two_headers(self) -> None:
        def header(roles: list[str]) -> list[list[object]]:
            at = len(self.kept.sheets["Readings"])
            upper: list[object] = [None]
            lower: list[object] = [self.words["date"]]
            for i, name in enumerate(self.stations):
                upper += [name, None]
                lower += [self.head("inlet"), self.head("outlet")]
                self.kept.merged["Readings"].append((at, 1 + 2 * i, at, 2 + 2 * i))
            lower += [self.words["note"]] if roles[-1] == "note" else []
            return [upper, lower]

        self.wide(header, ("inlet", "outlet"))

    def sides_over_stations(self) -> None:
        def header(roles: list[str]) -> list[list[object]]:
            n = len(self.stations)
            gap: list[object] = [None] * (n - 1)
            upper = [self.words["date"], self.head("inlet"), *gap, self.head("outlet"), *gap]
            upper += [self.words["note"]] if roles[-1] == "note" else []
            return [upper, [None, *self.stations, *self.stations]]

        self.wide(header, ("inlet", "outlet"), by_side=True)

    def drop_wide(self) -> None:
        def header(roles: list[str]) -> list[list[object]]:
            made = self.kept.sheets["Readings"]
            made[:] = [[f"{self.words['drop']} ({self.style.unit})"], []]
            end = [self.words["note"]] if roles[-1] == "note" else []
            return [[self.words["date"], *self.stations, *end]]

        self.wide(header, ("drop",))

    def dates_across(self) -> None:
        made = self.kept.sheets.setdefault("Readings", self.top())
        days = [day for day, _ in self.by_day()]
        made.append([self.words["station"], None, *(self.day(d) for d in days)])
        first = len(made)
        for i, name in enumerate(self.stations):
            for j, side in enumerate(("inlet", "outlet")):
                values = [self.number(by[name].get(side)) if name in by else None
                          for _, by in self.by_day()]  # fmt: skip
                made.append([None if j else name, self.head(side), *values])
                place = first + 2 * i + j + 1
                self.kept.truth["Readings", place] = (side, self.style.unit, name)
        self.kept.truth["Readings", 0] = ("date", "", "")

    def side_by_side(self) -> None:
        made = self.kept.sheets.setdefault("Readings", [])
        roles = ["date", "inlet", "outlet"]
        blocks = [[r for r in self.readings if r["station"] == s] for s in self.stations]
        made.append(
            [c for s in self.stations for c in (f"{self.words['block']}: {s}", None, None, None)]
        )
        made.append([c for _ in self.stations for c in (*(self.head(r) for r in roles), None)])
        for i in range(max(map(len, blocks))):
            line: list[object] = []
            for rows in blocks:
                line += [*(self.cells(rows[i], roles) if i < len(rows) else [None] * 3), None]
            made.append(line)
        for b in range(len(blocks)):
            for i, role in enumerate(roles):
                unit = "" if role == "date" else self.style.unit
                self.kept.truth["Readings", 4 * b + i] = (role, unit, "")


def drop_of(row: Row) -> float | None:
    """Inlet minus outlet in the unit of both, without the noise of the arithmetic."""
    if row.get("inlet") is None or row.get("outlet") is None:
        return row.get("drop")
    return round(row["inlet"] - row["outlet"], 6)


def keep(readings: Sequence[Row], style: Style) -> Kept:
    """The readings in one style; KeyError for an unknown layout or language."""
    maker = _Maker(style, readings)
    getattr(maker, style.layout.replace(" ", "_"))()
    return maker.kept


def as_xlsx(kept: Kept) -> bytes:
    """The sheets as a workbook."""
    from siltbook.templates.maker import Workbook

    target = io.BytesIO()
    with Workbook(target, {"in_memory": True}) as book:
        book.set_properties({"created": dt.datetime(2026, 1, 1)})
        date = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, rows in kept.sheets.items():
            sheet = book.add_worksheet(name)
            sheet.set_column(0, 0, 14)
            for r, row in enumerate(rows):
                for c, value in enumerate(row):
                    if isinstance(value, dt.date):
                        sheet.write_datetime(r, c, value, date)
                    elif isinstance(value, str):
                        sheet.write_string(r, c, value)
                    elif value is not None:
                        sheet.write_number(r, c, value)
            sheet.autofit()
            sheet.set_landscape()
            sheet.set_paper(9)
            sheet.fit_to_pages(1, 0)
            for top, left, bottom, right in kept.merged.get(name, ()):
                sheet.merge_range(top, left, bottom, right, rows[top][left])
    return target.getvalue()


def as_csv(kept: Kept, delimiter: str = ";", encoding: str = "utf-8") -> bytes:
    """The first sheet as a text table."""
    target = io.StringIO()
    writer = csv.writer(target, delimiter=delimiter, lineterminator="\r\n")
    for row in next(iter(kept.sheets.values())):
        writer.writerow(["" if v is None else v for v in row])
    return target.getvalue().encode(encoding)


FOLDER = "as-kept"
# Weekly drops [bar] at four invented stations, and what was noted on the day.
_FARM: dict[str, tuple[tuple[float, ...], dict[int, str]]] = {
    "North": ((0.16, 0.18, 0.19, 0.21, 0.24, 0.26, 0.27, 0.29), {}),
    "Hill": ((0.22, 0.29, 0.36, 0.44, 0.53, 0.55, 0.58, 0.60), {4: "flushed 3x, click, water ok"}),
    "River": ((0.20, 0.31, 0.42, 0.52, 0.19, 0.30, 0.41, 0.53), {3: "cleaned screen", 7: "windy"}),
    "Gate": ((0.19, 0.24, 0.30, 0.37, 0.44, 0.50, 0.54, 0.57), {6: "flushed 3x, no click"}),
}
_FIRST = dt.date(2026, 5, 4)


def farm() -> list[dict[str, Any]]:
    """An invented season of four stations, in bar."""
    return [
        {"station": name, "date": _FIRST + dt.timedelta(days=7 * week),
         "inlet": round(2.9 + 0.05 * ((week * 3 + n) % 4), 2),
         "outlet": round(2.9 + 0.05 * ((week * 3 + n) % 4) - drops[week], 2),
         "remark": notes.get(week), "read_by": "Reader A"}
        for week in range(8)
        for n, (name, (drops, notes)) in enumerate(_FARM.items())
    ]  # fmt: skip


def files() -> dict[str, bytes]:
    """The invented farm in every layout, and a logger's file; by their paths."""
    from sample_workbooks.logger_file import Logged, as_text

    told = {
        "list": Style(title=True, junk=True), "wide two headers": Style(title=True),
        "months": Style(language="es", dates="dmy"), "drop list": Style(language="fr", unit="m"),
        "blocks": Style(language="de", texts=",", dates="dmy"), "mixed": Style(junk=True),
        "sheet per station": Style(language="pt", unit_in="row", junk=True),
        "dates across": Style(language="it"),
    }  # fmt: skip
    made = {}
    for layout in LAYOUTS:
        style = replace(told.get(layout, Style()), layout=layout)
        readings = farm()
        if style.unit == "m":
            readings = [
                {**r, **{k: round(r[k] * 10.2, 1) for k in ("inlet", "outlet")}} for r in readings
            ]
        made[f"{FOLDER}/{layout.replace(' ', '-')}.xlsx"] = as_xlsx(keep(readings, style))
    made[f"{FOLDER}/logger.csv"] = as_text(Logged(days=14, step=600, flushes=(9,)))[0]
    return made
