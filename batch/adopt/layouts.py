"""From a table's place to its meaning: which layout it is, and what each column is taken for."""

from __future__ import annotations

import datetime as dt
import re

from siltbook.batch.adopt.columns import (
    assign,
    check_values,
    kind_of,
    only_names,
    path_text,
    shown,
    values,
)
from siltbook.batch.adopt.model import ASK, MEASURED, Cell, Column, Found
from siltbook.batch.adopt.recognise import (
    month_in,
    parse_date,
    parse_header,
    parse_time,
    two_ways,
    unit_of,
    year_in,
)
from siltbook.batch.adopt.sections import restarts
from siltbook.batch.adopt.sources import DAY0
from siltbook.batch.adopt.tables import Area, is_day, names_station
from siltbook.batch.adopt.words import plain, table
from siltbook.batch.errors import BookError
from siltbook.batch.reading.cells import address
from siltbook.batch.reading.parsing import FROM_1904, date_order, date_text, decimal_mark, tidy
from siltbook.templates.names import name_key

A_LINE = "a line of text"  # why a row is left out
_SAMPLES = 3
_SPREAD = 1_000  # lines of a long text table that are looked at for its dates
_LOOK = 400  # cells of a column that tell what it holds
_SHARE = 0.8  # of a column's cells that must be of one kind
_GENERIC = re.compile(
    r"(sheet|tabelle|hoja|feuil|feuille|foglio|planilha|folha|plan|data|table)\s*[0-9]*",
    re.IGNORECASE,
)
_GENERIC_WORDS = frozenset((
    "readings", "reading", "data", "list", "log", "season", "all", "filters", "filter", "stations",
    "station", "pressure", "pressures", "drops", "lecturas", "leituras", "releves", "letture",
    "ablesungen", "messwerte", "daten", "datos", "dados", "donnees", "dati",
))  # fmt: skip


def understand(area: Area) -> Found | None:
    """What one table is; None where nothing on it says that it holds filter readings."""
    if not area.data:
        return None
    found = _new(area)
    _context(found, area)
    kinds = {c.index: kind_of(found, c.index) for c in found.columns}
    _split_rows(found, area, kinds)
    assign(found, area, kinds)
    only_names(found, kinds)
    check_values(found, kinds)
    _fill_merged(found)
    _from_1904(found)
    _stations(found)
    for column in found.columns:
        column.samples = tuple(
            _sample(v, column.role) for v in values(found, column.index)[:_SAMPLES]
        )
    dated = found.of("date", "date and time")
    measured = found.of("inlet", "outlet", "drop", ASK)
    return found if dated and (measured or found.of("work", "cycles")) else None


def _from_1904(found: Found) -> None:
    """A day that stands as a plain number, in a workbook that counts its days from 1904."""
    columns = [c.index for c in found.of("date", "date and time") if found.grid.date1904]
    for row in found.grid.rows if columns else ():
        for column in columns:
            value = found.grid.rows[row].get(column)
            day = value + FROM_1904 if isinstance(value, float) else 0.0
            if 36_526 <= day < 73_051:  # 2000 to 2099; others are no days, or days of a month
                moment = dt.timedelta(seconds=round(day * 86_400))
                found.grid.rows[row][column] = DAY0 + moment


_OF_ROWS = ("date", "date and time", "time", "station", "unit", "occasion", "read by")


def _fill_merged(found: Found) -> None:
    """A date, a station or what else holds for a whole row is, merged over rows, that of each.

    A flow or a field pressure is read once for each: in its place stands what it is merged with, so
    that the book asks for it.
    """
    columns = {c.index for c in found.of(*_OF_ROWS)}
    measured = {c.index for c in found.of("flow", "field")}
    for ref in found.grid.merged:
        first, _, last = ref.partition(":")
        try:
            (top, left), (bottom, right) = address(first), address(last or first)
        except ValueError:
            continue
        value = found.grid.rows.get(top, {}).get(left)
        if left != right or top < found.first or value is None or top == bottom:
            continue
        if left in measured:
            value = f"merged with {found.cell(top, left)} in the source"
        elif left not in columns:
            continue
        for row in found.grid.rows:
            if top < row <= min(bottom, found.last) and row not in found.left_out:
                found.grid.rows[row][left] = value


def _sample(value: Cell, role: str) -> str:
    """A cell as the mapping shows it; times of day, which are fractions of it, as times."""
    time = parse_time(value) if role == "time" and isinstance(value, float) else None
    return shown(value) if time is None else time.strftime("%H:%M")


def _new(area: Area) -> Found:
    columns = [Column(c, path_text(area, c), "") for c in area.columns]
    data = area.data or [area.headers[-1] + 1]
    found = Found(
        area.grid, tuple(area.headers), data[0], data[-1], columns,
        title=" · ".join(t for _, _, t in area.titles), turned=area.turned,
    )  # fmt: skip
    found.origin = dict(area.origin or {})
    return found


def _context(found: Found, area: Area) -> None:
    """Year, month and station that titles, the sheet or the file name say."""
    texts = (found.title, found.grid.sheet, found.grid.file)
    found.year = next((y for y in map(year_in, texts) if y), None)
    found.month = next((m for m in map(month_in, texts[:2]) if m), None)
    for _, _, text in reversed(area.titles):
        if name := names_station(text):
            found.station, found.station_from = name, "the title above"
            return
    last = area.titles[-1] if area.titles else None
    if last and area.headers[0] - last[0] <= 2 and _is_name(last[2]):
        found.station, found.station_from = tidy(last[2]), "the title above"


def _is_name(text: str) -> bool:
    """Whether a short text can be a station's name and nothing else."""
    tokens = plain(text).split()
    if not 1 <= len(tokens) <= 5 or len(text) > 31 or text.rstrip().endswith((".", "!", "?", ":")):
        return False
    said = set(tokens) & (set(_GENERIC_WORDS) - {"filter", "station"})
    words = " ".join(tokens)
    named = any(t in table("header") for t in (words,)) or any(t in table("junk") for t in tokens)
    return not said and not named and not year_in(text) and not month_in(text) and not unit_of(text)


def _split_rows(found: Found, area: Area, kinds: dict[int, str]) -> None:
    """Rows that are no data: totals, headers again, single texts; names of sections are kept."""
    dated = _date_index(found, kinds)
    begins = restarts(found, area.data, dated)
    rows = {
        row: {c: v for c, v in found.grid.rows[row].items() if c in set(area.columns)}
        for row in area.data
    }
    sure = {r for r, cells in rows.items() if dated in cells and is_day(cells[dated])}
    leads = {next(iter(rows[row].values())) for row in sure}
    for row, cells in rows.items():
        texts = [v for v in cells.values() if isinstance(v, str)]
        lead = next(iter(cells.values()), None)
        if not cells or row in sure:
            continue
        first = plain(lead).split()[:2] if isinstance(lead, str) and lead not in leads else []
        single = len(cells) == 1 and bool(texts)
        if single and row in begins:
            found.sections[row], found.left_out[row] = tidy(texts[0]).rstrip(" :"), A_LINE
        elif any(w in table("junk") for w in (" ".join(first), *first[:1])):
            found.left_out[row] = "a row of totals or averages"
        elif single:
            if _is_name(texts[0]) and lead is not None:
                found.sections[row] = tidy(texts[0])
            found.left_out[row] = A_LINE
        elif len(texts) == len(cells) and len(texts) >= 2 and _again(found, row):
            found.left_out[row] = "the header again"


def _again(found: Found, row: int) -> bool:
    texts = [v for v in found.grid.rows[row].values() if isinstance(v, str)]
    known = {plain(p) for c in found.columns for p in c.header.split(" | ")}
    return sum(plain(t) in known for t in texts) >= 0.7 * len(texts) or all(
        unit_of(t.strip("()[]")) for t in texts
    )


def _date_index(found: Found, kinds: dict[int, str]) -> int | None:
    for column in found.columns:
        parsed = [parse_header(p) for p in column.header.split(" | ")]
        if any(p.role in ("date", "date and time") for p in parsed):
            return column.index
    return next((i for i, kind in kinds.items() if kind == "day"), None)


def _stations(found: Found) -> None:
    """The layout, and where each row's station is said."""
    measured = found.of(*MEASURED, ASK)
    _spelt_once(measured)
    named = {plain(c.station) for c in measured if c.station}
    if found.of("station") and values(found, found.of("station")[0].index):
        found.layout, found.station = "list", ""
        _forget_names(found)
    elif len(named) >= 2 or (len(named) == 1 and all(c.station for c in measured) and found.turned):
        found.layout, found.station = "wide", ""
        for column in found.of("note"):
            column.station = column.station if plain(column.station) in named else ""
    elif (over := _one_above(measured)) and not found.sections:
        _forget_names(found)
        found.layout, found.station, found.station_from = "block", over, "the header above"
    else:
        _forget_names(found)
        found.layout = "sections" if found.sections else "block"
        if found.sections:
            found.sections.setdefault(found.header_rows[0], found.station)
        elif not found.station and _sheet_names(found.grid.sheet):
            found.station, found.station_from = tidy(found.grid.sheet), "the sheet's name"


def _spelt_once(columns: list[Column]) -> None:
    """Give the columns of one station, whose name is spelt in two ways, its first spelling."""
    first: dict[str, str] = {}
    for column in columns:
        if column.station:
            column.station = first.setdefault(name_key(column.station), column.station)


def _one_above(measured: list[Column]) -> str:
    """The one name that stands in an upper header cell over all measured columns; else ''."""
    uppers = {c.header.split(" | ")[0] for c in measured if " | " in c.header}
    named = {c.station for c in measured}
    if (
        len(uppers) == 1
        and uppers == named
        and len(measured) > 1
        and all(" | " in c.header for c in measured)
    ):
        return uppers.pop()
    return ""


def _forget_names(found: Found) -> None:
    """Where columns name no stations, what is left of a header must not change what it means."""
    short = {"in", "out", "p", "q", "ein", "aus", "before", "after", "diff", "day", "hour", "by"}
    names = [{c.station for c in found.of(side)} for side in ("inlet", "outlet")]
    shared = {""} | (names[0] & names[1])  # the same name on both sides is a name
    for column in found.columns:
        named = column.station not in shared and column.role in MEASURED and column.sure == "sure"
        if named and set(re.findall(r"'([^']*)'", column.why)) & short:
            column.role, column.sure = ASK, ""
            column.why = f"'{column.header}' may name more than one thing"
        column.station = ""


def _sheet_names(sheet: str) -> bool:
    """Whether a sheet's name can be a station's: no month, no 'Sheet1', no word for readings."""
    if not sheet or _GENERIC.fullmatch(sheet.strip()):
        return False
    tokens = set(plain(sheet).split())
    if month_in(sheet) or year_in(sheet) or tokens & (_GENERIC_WORDS - {"filter", "station"}):
        return False
    return not (tokens <= {"filter", "station"})


def settle(found: list[Found]) -> None:
    """Date order and decimal mark that the tables of one source agree on."""
    orders, marks = [], []
    for one in found:
        texts = [
            v
            for c in one.of("date", "date and time")
            for v in values(one, c.index)
            if isinstance(v, str)
        ]
        one.date_order = date_order([*texts, *_further_dates(one)])
        numbers = [
            v for c in one.of(*MEASURED, ASK) for v in values(one, c.index) if isinstance(v, str)
        ]
        one.decimal = decimal_mark(numbers)
        orders.append(one.date_order)
        marks.append(one.decimal)
    agreed, mark = set(orders) - {""}, set(marks) - {""}
    for one in found:
        one.date_order = one.date_order or (agreed.copy().pop() if len(agreed) == 1 else "")
        one.decimal = one.decimal or (mark.copy().pop() if len(mark) == 1 else "")


def refuse_split_numbers(found: list[Found]) -> None:
    """BookError where a comma stands between cells and in numbers too: 2,8,2,6 under two headers.

    Such rows have more cells than the header, and no pressure in them has a decimal mark.
    """
    for one in found:
        measured = [v for c in one.of(*MEASURED, ASK) for v in values(one, c.index)]
        beyond = [c for c in one.columns if not c.header and c.index > len(one.columns) / 2]
        most = max((len(values(one, c.index)) for c in beyond), default=0)
        whole = all(isinstance(v, str) and v.strip().isdigit() for v in measured)
        many = measured and whole and 2 * most > one.last - one.first
        row = one.first if many else _split_row(one, [c.index for c in beyond])
        if one.grid.delimiter == "," and row:
            raise BookError(
                f"{one.grid.file}, line {row}: {len(one.columns)} cells under"
                f" {len(one.columns) - len(beyond)} headers, as where a comma stands between cells"
                " and in numbers (2,8) as well: export it again with semicolons or tabs between"
                " cells; nothing was changed."
            )


def _split_row(one: Found, beyond: list[int]) -> int:
    """The first row with a number under no header in which every pressure is a whole one, while
    others have decimals; 0 where there is none."""
    measured = [c.index for c in one.of(*MEASURED, ASK)]
    inside = {r: c for r, c in one.grid.rows.items() if one.first <= r <= one.last}
    typed = {r: [str(c[i]).strip() for i in measured if i in c] for r, c in inside.items()}
    if not any("." in text for texts in typed.values() for text in texts):
        return 0
    for row, texts in typed.items():
        over = [str(inside[row][i]).strip() for i in beyond if i in inside[row]]
        if over and len(texts) > 1 and all(map(str.isdigit, (*texts, *over))):
            return row
    return 0


def _further_dates(found: Found) -> list[str]:
    """Dates from all over a long text table, of which the grid has the first rows only."""
    if not found.grid.text:
        return []
    lines = found.grid.text.splitlines()
    some = lines[found.first :: max(1, len(lines) // _SPREAD)]
    places = [c.index for c in found.of("date", "date and time")]
    split = (line.split(found.grid.delimiter) for line in some)
    return [f[i].strip(' "') for f in split for i in places if i < len(f)]


def ambiguous_dates(found: Found) -> str:
    """A date that can be read two ways, where nothing settles the order; else ''."""
    if found.date_order:
        return ""
    for column in found.of("date", "date and time"):
        for value in values(found, column.index):
            if isinstance(value, str) and parse_date(value, "", found.year, found.month).ambiguous:
                return value
    return ""


def doubtful_mark(found: Found) -> str:
    """A number whose mark may part decimals or thousands, where nothing settles it; else ''."""
    if found.decimal:
        return ""
    cells = (v for c in found.of(*MEASURED, ASK) for v in values(found, c.index))
    return next((str(v) for v in cells if two_ways(v)), "")


def lacking_year(found: Found) -> str:
    """A date without its year, where no title gives it; else ''."""
    if found.year:
        return ""
    for column in found.of("date", "date and time"):
        for value in values(found, column.index):
            if (
                isinstance(value, str)
                and not date_text(value).date
                and parse_date(value, "dmy", 2024).date
            ):
                read = parse_date(value)
                if not read.date and not read.ambiguous:
                    return value
    return ""
