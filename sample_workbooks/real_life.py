"""A farm in psi whose workbook has the mess of real life.

The water follows the same model as in the other samples. What differs is how it was written
down: titles above the header rows, columns moved and added, dates as text, units in cells,
names with odd capitals, a station nobody knows. `mess` tells where each of these stands.
"""

from __future__ import annotations

import datetime as dt
import io
import struct
import zlib
from dataclasses import dataclass, field
from typing import Any

from sample_workbooks.dirt import Dirt
from sample_workbooks.rows import in_order, settings, station_row
from sample_workbooks.season import Gauge, Plan, Season, Visit, run
from siltbook.templates import maker
from siltbook.templates.book import column_letters
from siltbook.templates.contract import AGREED, FARM, READINGS, STATIONS, WORK, Sheet
from siltbook.templates.units import metres_per

FARM_NAME = "Sample Farm of Odd Habits (invented)"
REVIEW = dt.date(2026, 7, 3)
START = dt.datetime(2026, 4, 27, 6, 45)
WEEKS = 10
GAUGE = Gauge("psi", 1.0, 100.0, 1.6)
PEOPLE = ("Reader D", "reader d")
SEED = "real life, 2026"
CREATED = dt.datetime(2026, 1, 1)

PLANS = (
    Plan("P1 North", "A", "in-range", Dirt(1.5, 0.012, 0.0, 120.0), inlet=3.4),
    Plan(
        "P2 South", "A", "flush", Dirt(1.5, 0.032, 0.0004, 150.0), inlet=3.4, base=0.1,
        visits={9: Visit(flow=1.03, flush=False)},
    ),
    Plan(
        "P3 Creek", "B", "hand-clean", Dirt(1.4, 0.045, 0.0006, 140.0), inlet=3.3, base=2.6,
        visits={9: Visit(flow=1.12, flush_share=0.02, clean_by_hand=False)},
    ),
    Plan("P4 Hill", "B", "watch", Dirt(1.5, 0.024, 0.0003, 90.0), base=0.3, inlet=3.5,
         visits={9: Visit(flow=1.0)}),
    Plan(
        "P5 Gully", "C", "no-reading", Dirt(1.6, 0.02, 0.0, 100.0), inlet=3.3,
        visits={8: Visit(missed=True), 9: Visit(missed=True)},
    ),
)  # fmt: skip

# Every list's columns as this farm keeps them: moved, and with columns of its own (in quotes).
_READING_ORDER = (
    "date", "station", "'Weather'", "inlet", "outlet", "'psi lost'", "time", "flow",
    "occasion", "read_by", "remark",
)  # fmt: skip
_STATION_ORDER = (
    "block", "station", "filter_type", "'Installed'", "reference_flow", "clean_drop", "gauges",
    "full_scale", "gauge_class", "division", "working_inlet", "in_service", "remark",
)  # fmt: skip
_WORK_ORDER = (
    "date", "time", "station", "work", "cycles", "flush_inlet", "click", "water",
    "gauge_zero", "done_by", "'Parts used'", "remark",
)  # fmt: skip


@dataclass(frozen=True)
class _Formula:
    """A formula with the value that a spreadsheet program last stored for it."""

    text: str
    value: float


@dataclass
class _Writer:
    """The workbook in the making, its styles, and where each oddity was put."""

    book: Any
    mess: dict[str, tuple[str, str]] = field(default_factory=dict)

    def style(self, **properties: object) -> Any:
        return self.book.add_format({"font_name": "Liberation Serif", **properties})

    def note(self, kind: str, sheet: str, row: int, column: int) -> None:
        """Remember where one kind of mess stands; `row` and `column` count from 0."""
        self.mess[kind] = (sheet, f"{column_letters(column)}{row + 1}")


def seasons() -> tuple[Season, ...]:
    """The true seasons behind the messy book."""
    return tuple(
        run(plan, GAUGE, PEOPLE, START + dt.timedelta(minutes=6 * n), WEEKS, f"{SEED} {plan.name}")
        for n, plan in enumerate(PLANS)
    )


def picture() -> bytes:
    """A small PNG made by hand: a blue drop on a sand-coloured ground."""
    size = 48
    lines = bytearray()
    for y in range(size):
        lines.append(0)
        for x in range(size):
            inside = (x - 24) ** 2 + (y - 28) ** 2 < 14**2 or (y < 28 and abs(x - 24) < (y - 4) / 2)
            lines += bytes((40, 100, 170) if inside else (235, 225, 200))
    header = struct.pack(">IIBBBBB", size, size, 8, 2, 0, 0, 0)
    # Stored, not compressed: the bytes then do not hang on the zlib at hand.
    data = zlib.compress(bytes(lines), 0)
    chunks = ((b"IHDR", header), (b"IDAT", data), (b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        for kind, body in chunks
    )


def _text_date(day: dt.date, n: int) -> object:
    """Dates as this farm types them: most real, some ISO text, some day first where clear."""
    if n % 7 == 3:
        return day.isoformat()
    if n % 7 == 5 and day.day > 12:
        return day.strftime("%d.%m.%Y")
    return day


def _messy(rows: list[dict[str, object]]) -> list[tuple[str, dict[str, object]]]:
    """The readings with one oddity here and there; each row comes with the name of its oddity."""
    result: list[tuple[str, dict[str, object]]] = []
    seen: dict[object, int] = {}
    for n, row in enumerate(rows):
        row = {**row, "date": _text_date(row["date"], n)}  # type: ignore[arg-type]
        nth = seen[row["station"]] = seen.get(row["station"], -1) + 1
        kind = _ODDITIES.get((str(row["station"]), nth), "")
        result.append((kind, _twist(row, kind)))
    stranger = {**rows[20], "station": "P9 Nowhere", "remark": "which one is this?"}
    result.insert(21, ("unknown station", stranger))
    return result


_ODDITIES = {
    ("P1 North", 1): "decimal comma",
    ("P1 North", 3): "other unit unsaid",
    ("P1 North", 5): "unit in cell",
    ("P1 North", 6): "swapped",
    ("P1 North", 7): "trailing space",
    ("P2 South", 2): "odd capitals",
    ("P2 South", 4): "other unit in cell",
    ("P2 South", 6): "formula",
    ("P4 Hill", 2): "unit in cell without space",
    ("P4 Hill", 5): "two blanks in name",
}


def _twist(row: dict[str, object], kind: str) -> dict[str, object]:
    inlet, outlet = float(str(row["inlet"])), float(str(row["outlet"]))
    bar = metres_per("psi") / metres_per("bar")
    name = str(row["station"])
    changes: dict[str, dict[str, object]] = {
        "decimal comma": {"inlet": f"{inlet:.1f}".replace(".", ","), "outlet": f"{outlet:.0f},0"},
        "other unit unsaid": {"inlet": round(inlet * bar, 2), "outlet": round(outlet * bar, 2)},
        "unit in cell": {"inlet": f"{inlet:.0f} psi", "outlet": f"{outlet:.0f} psi"},
        "swapped": {"inlet": outlet, "outlet": inlet},
        "trailing space": {"station": f"{name}  "},
        "odd capitals": {"station": f" {name.upper()}"},
        "other unit in cell": {"inlet": f"{inlet * bar:.2f} bar"},
        "formula": {"inlet": _Formula(f"={inlet - 2:.0f}+2", inlet)},
        "unit in cell without space": {"outlet": f"{outlet:.0f}PSI"},
        "two blanks in name": {"station": name.replace(" ", "  ")},
    }
    return {**row, **changes.get(kind, {})}


def _put(writer: _Writer, sheet: Any, place: tuple[int, int], value: object) -> None:
    """One cell, written as what it is."""
    row, column = place
    if value is None or value == "":
        return
    if isinstance(value, _Formula):
        sheet.write_formula(row, column, value.text, None, value.value)
    elif isinstance(value, dt.date):
        sheet.write_datetime(row, column, value, writer.style(num_format="d mmm yyyy"))
    elif isinstance(value, dt.time):
        sheet.write_datetime(row, column, value, writer.style(num_format="hh:mm"))
    elif isinstance(value, (int, float)):
        sheet.write_number(row, column, value)
    else:
        sheet.write_string(row, column, str(value))


def _title(writer: _Writer, sheet: Any, text: str, header_row: int, order: list[str]) -> None:
    """A title at the top, and the header row further down, in the farm's own colours."""
    sheet.write_string(0, 0, text, writer.style(bold=True, font_size=16, font_color="#7A3B00"))
    head = writer.style(bold=True, bg_color="#F3D9B1", bottom=2, text_wrap=True)
    for column, label in enumerate(order):
        sheet.write_string(header_row, column, label, head)
    sheet.set_column(0, len(order), 14)


def _label(sheet: Sheet, key: str) -> str:
    """The header that this farm typed: its own in quotes, the contract's in odd capitals."""
    if key.startswith("'"):
        return key.strip("'")
    label = sheet.column(key).header
    return {"Inlet pressure": "INLET PRESSURE", "Station": " station "}.get(label, label)


def _farm(writer: _Writer) -> None:
    sheet = writer.book.add_worksheet(FARM.name)
    sheet.write_string(0, 0, "Everything about our farm", writer.style(bold=True, font_size=16))
    values = settings(FARM_NAME, "psi", "L/min", REVIEW)
    values |= {"drop_limit": "5,0", "review_date": REVIEW.isoformat()}
    for n, column in enumerate(FARM.columns):
        row = n + 2 + (n > 5)  # one blank row among the settings
        sheet.write_string(row, 0, column.header.upper() if n == 4 else column.header)
        _put(writer, sheet, (row, 1), values.get(column.key))
        if column.key == "flush_inlet":
            sheet.write_string(row, 2, "psi")
        if column.key == "drop_limit":
            writer.note("decimal comma in a setting", FARM.name, row, 1)
        if column.key == "review_date":
            writer.note("text date in a setting", FARM.name, row, 1)
    sheet.set_column(0, 1, 28)


def _notes(writer: _Writer) -> None:
    """The farm's own sheet: its notes, its picture and its chart; not ours to touch."""
    sheet = writer.book.add_worksheet("Our notes")
    sheet.write_string(0, 0, "Water used (invented)", writer.style(bold=True))
    for n, (month, used) in enumerate((("April", 410), ("May", 655), ("June", 820)), start=1):
        sheet.write_string(n, 0, month)
        sheet.write_number(n, 1, used)
    sheet.write_formula(4, 1, "=SUM(B2:B4)", writer.style(bold=True, top=1), 1885)
    chart = writer.book.add_chart({"type": "column"})
    chart.add_series(
        {
            "name": "Water used", "categories": ["Our notes", 1, 0, 3, 0],
            "values": ["Our notes", 1, 1, 3, 1], "fill": {"color": "#C46A1B"},
        }
    )  # fmt: skip
    chart.set_title({"name": "Our water, by month"})
    sheet.insert_chart(6, 3, chart, {"description": "Columns: water used in April, May and June"})
    options = {"image_data": io.BytesIO(picture()), "description": "A drop of water"}
    sheet.insert_image(6, 0, "drop.png", options)


def _stations(writer: _Writer) -> None:
    sheet = writer.book.add_worksheet(STATIONS.name)
    labels = [_label(STATIONS, key) for key in _STATION_ORDER]
    _title(writer, sheet, "Our filters", 2, labels)
    for n, plan in enumerate(PLANS):
        row = {**station_row(plan, GAUGE, "psi"), "'Installed'": 2015 + n}
        for column, key in enumerate(_STATION_ORDER):
            _put(writer, sheet, (3 + n + (n > 2), column), row.get(key))


def _readings(writer: _Writer) -> None:
    sheet = writer.book.add_worksheet(READINGS.name)
    labels = [_label(READINGS, key) for key in _READING_ORDER]
    _title(writer, sheet, "Weekly readings 2026", 3, labels)
    inlet, outlet = _READING_ORDER.index("inlet"), _READING_ORDER.index("outlet")
    weather = ("dry", "windy", "hot", "")
    at = 4
    for n, (kind, row) in enumerate(_messy(in_order([r for s in seasons() for r in s.readings]))):
        at += n % 10 == 9  # a blank row now and then
        row = {**row, "'Weather'": weather[n % 4]}
        if isinstance(row["inlet"], float) and isinstance(row["outlet"], float):
            text = f"={column_letters(inlet)}{at + 1}-{column_letters(outlet)}{at + 1}"
            row["'psi lost'"] = _Formula(text, round(row["inlet"] - row["outlet"], 6))
        for column, key in enumerate(_READING_ORDER):
            _put(writer, sheet, (at, column), row.get(key))
        _note_reading(writer, kind, row, at)
        at += 1


def _note_reading(writer: _Writer, kind: str, row: dict[str, object], at: int) -> None:
    named = {"unknown station", "trailing space", "odd capitals", "two blanks in name"}
    key = "station" if kind in named else "inlet"
    key = "outlet" if kind == "unit in cell without space" else key
    if kind:
        writer.note(kind, READINGS.name, at, _READING_ORDER.index(key))
    if isinstance(row["date"], str):
        style = "text date, year first" if row["date"][4] == "-" else "text date, day first"
        writer.note(style, READINGS.name, at, _READING_ORDER.index("date"))


def _work(writer: _Writer) -> None:
    sheet = writer.book.add_worksheet(WORK.name)
    labels = [_label(WORK, key) for key in _WORK_ORDER]
    _title(writer, sheet, "What we did", 2, labels)
    for n, row in enumerate(in_order([r for s in seasons() for r in s.work])):
        row = {**row, "click": "Yes" if row.get("click") == "yes" else row.get("click")}
        for column, key in enumerate(_WORK_ORDER):
            _put(writer, sheet, (3 + n, column), row.get(key))


def _agreed(writer: _Writer) -> None:
    sheet = writer.book.add_worksheet(AGREED.name)
    _title(writer, sheet, "From the last meeting", 1, [c.header for c in AGREED.columns])
    cells = ("P3 Creek", "Look at the element together", "Reader D", "2026-06-19")
    for column, text in enumerate(cells):
        sheet.write_string(2, column, text)


def write() -> tuple[bytes, dict[str, tuple[str, str]]]:
    """The workbook's bytes, and kind of mess -> (sheet, cell) of its last occurrence."""
    target = io.BytesIO()
    book = maker.Workbook(target, {"in_memory": True})
    book.set_properties({"title": FARM_NAME, "created": CREATED})
    writer = _Writer(book)
    for part in (_notes, _readings, _work, _stations, _farm, _agreed):
        part(writer)
    book.close()
    return target.getvalue(), writer.mess
