"""A logger's records to readings in steady service: whole columns at a time, in numpy and pandas.

A reading is the median of a window in which the pump runs and pressures hold still; flushes show
as short dips of the inlet after which the drop is lower, and are proposed as work.
"""

from __future__ import annotations

import datetime as dt
import io
from collections import Counter
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from siltbook.batch.adopt.model import MEASURED, Amount, Found, Harvest, LeftOut
from siltbook.batch.adopt.recognise import parse_date, parse_number, parse_time
from siltbook.batch.adopt.steady import Dip, Records, Window, examine
from siltbook.batch.errors import BookError
from siltbook.checks.wording import rows_named

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

MOST_RECORDS = 5_000_000
FEWEST = 100  # records of a logger
WALL_CLOCK = "as written"
A_DAY = 16  # records a day from which they are a logger's
_DATES = (
    "%Y-%m-%d",
    "%Y/%m/%d",
    "%d/%m/%Y",
    "%m/%d/%Y",
    "%d.%m.%Y",
    "%d-%m-%Y",
    "%d.%m.%y",
    "%d/%m/%y",
    "%m/%d/%y",
    "%Y%m%d",
)
_TIMES = (
    "%H:%M:%S",
    "%H:%M",
    "%H:%M:%S.%f",
    "%I:%M:%S %p",
    "%I:%M %p",
    "%H:%M:%S%z",
    "%H:%M:%SZ",
    "%H:%M%z",
    "%H.%M",
)
_BETWEEN = (" ", "T", ", ", "  ")


def is_logger(found: Found) -> bool:
    """Whether a table's first rows are records of a logger: many a day, each with its time."""
    if not found.of(*MEASURED) or not (
        found.of("date and time") or (found.of("date") and found.of("time"))
    ):
        return False
    rows = [r for r in found.grid.rows if found.first <= r <= found.last]
    if len(rows) < FEWEST:
        return False
    names = (
        {str(found.grid.rows[r].get(found.of("station")[0].index)) for r in rows}
        if found.of("station")
        else {""}
    )
    days = set()
    for row in rows:
        for column in found.of("date", "date and time"):
            value = found.grid.rows[row].get(column.index)
            date = parse_date(value, found.date_order or "dmy").date if value is not None else None
            days.add(date)
    return len(rows) / max(1, len(days)) / len(names) >= A_DAY


def harvest_records(found: Found, every: int, zone: str, into: Harvest) -> None:
    """Add the readings of one logger table to `into`; every record is counted once.

    `every` is the number of readings a day; `zone` the time zone into which stamps with an offset
    are turned, '' or 'as written' for the clock as it was written.
    """
    into.left_out += _set_by_hand(found, into)
    frame = _frame(found)
    for name, records in _by_station(found, frame, zone, into):
        if len(records.seconds):
            _station(found, name, records, every, into)


def _struck_rows(found: Found) -> list[int]:
    """The records whose date, time or station somebody struck through."""
    at = {column.index for column in found.of("date", "time", "date and time", "station")}
    rows = {row for row, column in found.grid.struck if column in at}
    return sorted(row for row in rows if found.first <= row <= found.last)


def _set_by_hand(found: Found, into: Harvest) -> Iterator[LeftOut]:
    """What people struck through, or noted at cells, in a workbook of records."""
    if struck := _struck_rows(found):
        into.read += len(struck)
        where = f"{found.grid.place}, {rows_named(struck)}"
        many = f"{len(struck):,} record{'' if len(struck) == 1 else 's'}"
        why = "date, time or station struck through"
        yield LeftOut(where, many, why, len(struck), matters=True)
    columns = {column.index for column in found.columns}
    for (row, column), words in found.grid.notes.items():
        if found.first <= row <= found.last and column in columns:
            where = f"{found.grid.place}, cell {found.cell(row, column)}"
            yield LeftOut(where, words, "a note at a record, of which no reading is made alone")


def _station(found: Found, name: str, records: Records, every: int, into: Harvest) -> None:
    seen = examine(records, every)
    unit = records.unit
    for window in seen.windows:
        into.readings.append(_reading(found, name, window, unit, records.flow_unit))
    for dip in seen.dips:
        into.work.append(_flush(found, name, dip, unit))
    into.used += seen.used
    into.proposed += seen.proposed
    for why, count in seen.left_out.items():
        if count:
            place = f"{found.grid.place}, {name}" if name else found.grid.place
            into.left_out.append(LeftOut(place, f"{count:,} records", why, count))
    if seen.windows:
        scatter = float(np.median([w.scatter for w in seen.windows]))
        # The division for which the two readings of a drop scatter as its records do.
        step = max(seen.resolution, scatter * 6.0**0.5)
        into.precision[name] = (float(f"{step:.3g}"), unit)


def _reading(
    found: Found, name: str, window: Window, unit: str, flow_unit: str
) -> dict[str, object]:
    start, end = (_moment(s) for s in (window.start, window.end))
    middle = _moment((window.start + window.end) // 2)
    made: dict[str, object] = {
        "station": name, "date": middle.date(), "time": middle.time().replace(second=0),
    }  # fmt: skip
    for role in ("inlet", "outlet", "drop", "field"):
        value = getattr(window, role)
        if value is not None and not (
            role == "drop" and window.inlet is not None and window.outlet is not None
        ):
            made[role] = Amount(float(f"{value:.6g}"), unit)
    if window.flow is not None:
        made["flow"] = Amount(float(f"{window.flow:.6g}"), flow_unit)
    made["remark"] = (
        f"median of {window.count} records {start:%H:%M} to {end:%H:%M}, scatter of the drop "
        f"{window.scatter:.2g} {unit}"
    )
    made["where"] = f"{found.grid.place}, {middle:%Y-%m-%d}"
    return made


def _flush(found: Found, name: str, dip: Dip, unit: str) -> dict[str, object]:
    at = _moment(dip.start)
    said = (
        f"inlet fell to {dip.lowest:.3g} {unit} {dip.cycles} times; the drop went from "
        f"{dip.before:.2g} to {dip.after:.2g} {unit}"
    )
    return {
        "station": name, "date": at.date(), "time": at.time().replace(second=0), "work": "flush",
        "cycles": float(dip.cycles), "flush_inlet": Amount(float(f"{dip.lowest:.6g}"), unit),
        "words": said, "remark": f"from the logger: {said}", "where": found.grid.place,
    }  # fmt: skip


def _moment(second: int) -> dt.datetime:
    return dt.datetime(1970, 1, 1) + dt.timedelta(seconds=int(second))


# records from the source


def _frame(found: Found) -> pd.DataFrame:
    """The table's columns that are needed; a text table through pandas, a sheet from its cells."""
    import pandas as pd

    wanted = [c.index for c in found.of("date", "time", "date and time", "station", *MEASURED)]
    if not found.grid.text:
        out = {*found.left_out, *_struck_rows(found)}
        rows = [r for r in found.grid.rows if found.first <= r <= found.last and r not in out]
        table = {i: [found.grid.rows[r].get(i) for r in rows] for i in wanted}
        return pd.DataFrame(table, dtype=object)
    data = io.BytesIO(found.grid.text.encode("utf-8", "replace"))
    fields = 1 + max(max(cells) for cells in found.grid.rows.values())
    numeric = {c.index for c in found.of(*MEASURED)}
    try:
        return pd.read_csv(
            data, sep=found.grid.delimiter, header=None, skiprows=found.first - 1,
            usecols=sorted(wanted), dtype={i: str for i in wanted if i not in numeric},
            decimal=found.decimal or ".", on_bad_lines="skip", engine="c",
            nrows=MOST_RECORDS + 1, low_memory=False, names=range(fields),
            index_col=False,
        )  # fmt: skip
    except (ValueError, pd.errors.ParserError) as error:
        raise BookError(f"{found.grid.place}: {error}; export it again as CSV.") from None


def _by_station(
    found: Found, frame: pd.DataFrame, zone: str, into: Harvest
) -> list[tuple[str, Records]]:
    """The records of each station; records without a time are counted as left out."""
    if len(frame) > MOST_RECORDS:
        raise BookError(f"{found.grid.place}: over {MOST_RECORDS:,} records; split it by month.")
    made: list[tuple[str, Records]] = []
    seconds = _seconds(found, frame, zone)
    timed = ~np.isnan(seconds)
    columns = found.of(*MEASURED)
    names = (
        list(dict.fromkeys(c.station for c in columns))
        if found.layout == "wide"
        else [found.station]
    )
    # A record of several stations is one row of the file: counted with the first of them.
    into.read += len(frame)
    if lost := int((~timed).sum()):
        into.left_out.append(
            LeftOut(found.grid.place, f"{lost:,} records", "its time cannot be read", lost)
        )
    numbers = {c.index: _numbers(frame[c.index], found.decimal)[timed] for c in columns}
    whole: NDArray[np.int64] = seconds[timed].astype(np.int64)
    groups: list[tuple[str, NDArray[np.bool_] | None, list[Any]]] = []
    if found.of("station"):
        labels = frame[found.of("station")[0].index].astype(str).str.strip().to_numpy()[timed]
        groups = [(str(n), labels == n, columns) for n in dict.fromkeys(labels.tolist())]
    else:
        groups = [(n, None, [c for c in columns if c.station in ("", n)]) for n in names]
    for at, (name, mask, own) in enumerate(groups):
        by = {c.role: numbers[c.index] if mask is None else numbers[c.index][mask] for c in own}
        when = whole if mask is None else whole[mask]
        unit = next((c.unit for c in own if c.role != "flow" and c.unit), "")
        flow_unit = next((c.unit for c in own if c.role == "flow"), "")
        counted = mask is not None or at == 0
        made.append((name, Records(when, by, unit, flow_unit, counted)))
    return made


def _numbers(values: pd.Series[Any], mark: str) -> NDArray[np.float64]:
    import pandas as pd

    if values.dtype != object and not pd.api.types.is_string_dtype(values.dtype):
        return values.to_numpy(dtype=np.float64)
    quick = pd.to_numeric(values, errors="coerce")
    odd = quick.isna() & values.notna()
    if odd.any():  # 'ERR', or a unit behind the number
        read = {v: parse_number(v, mark)[0] for v in set(values[odd].tolist())}
        told = {v: np.nan if n is None else n for v, n in read.items()}
        quick = quick.where(~odd, values.map(told)).astype(np.float64)
    return quick.to_numpy(dtype=np.float64)


def _seconds(found: Found, frame: pd.DataFrame, zone: str) -> NDArray[np.float64]:
    """Each record's wall-clock time [s since 1970], NaN where it cannot be read."""
    stamps = found.of("date and time") or found.of("date")
    texts = frame[stamps[0].index]
    clock = found.of("time")
    first = next((v for v in texts if isinstance(v, (dt.datetime, float)) or v), None)
    if clock and not found.of("date and time") and not isinstance(first, dt.datetime):
        texts = texts.astype(str) + " " + frame[clock[0].index].astype(str)
    form = _format(found, [str(v) for v in texts.dropna().head(300)])
    if form:
        return _by_format(texts, form, zone)
    known: dict[object, float] = {}
    times = frame[clock[0].index].tolist() if clock else [None] * len(texts)
    return np.array([_one(found, v, t, known) for v, t in zip(texts.tolist(), times, strict=True)])


def _by_format(texts: pd.Series[Any], form: str, zone: str) -> NDArray[np.float64]:
    import pandas as pd

    texts = texts.astype(str).str.strip()
    if "%z" in form or form.endswith("Z"):
        turned = zone not in ("", WALL_CLOCK)
        form = form.replace("%z", "").removesuffix("Z")
        if turned:
            read = pd.to_datetime(texts, format="ISO8601", utc=True, errors="coerce")
            read = read.dt.tz_convert(zone).dt.tz_localize(None)
        else:  # the clock as written, without its offset
            bare = texts.str.replace(r"(?:Z|[+-][0-9]{2}:?[0-9]{2})$", "", regex=True)
            read = pd.to_datetime(bare, format=form, errors="coerce")
    else:
        read = pd.to_datetime(texts, format=form, errors="coerce")
    whole = read.to_numpy(dtype="datetime64[s]")
    seconds = whole.astype(np.int64).astype(np.float64)
    seconds[np.isnat(whole)] = np.nan
    return seconds


def _one(found: Found, value: object, clock: object, known: dict[object, float]) -> float:
    key = (value, clock)
    if key not in known:
        date = (
            parse_date(value, found.date_order)
            if isinstance(value, (str, float, dt.datetime))
            else None
        )
        known[key] = float("nan")
        if date is not None and date.date is not None:
            time = date.time or (
                parse_time(clock) if isinstance(clock, (str, float, dt.datetime)) else None
            )
            moment = dt.datetime.combine(date.date, time or dt.time(0))
            known[key] = (moment - dt.datetime(1970, 1, 1)).total_seconds()
    return known[key]


def _format(found: Found, samples: list[str]) -> str:
    """The one form in which all samples are written, or ''."""
    allowed = {"dmy": ("%d",), "mdy": ("%m",)}.get(found.date_order, ("%d", "%Y"))
    fits: Counter[str] = Counter()
    for date in _DATES:
        if not date.startswith(("%Y", *allowed)):
            continue
        for between in _BETWEEN:
            for time in _TIMES:
                form = f"{date}{between}{time}"
                if samples and all(_fits(s.strip(), form) for s in samples):
                    fits[form] += 1
    return next(iter(fits), "")


def _fits(text: str, form: str) -> bool:
    try:
        dt.datetime.strptime(text, form)
    except ValueError:
        return False
    return True


def offset_of(found: Found) -> str:
    """A stamp with its own offset from universal time, where the stamps carry one; else ''."""
    for column in found.of("date and time"):
        for cells in list(found.grid.rows.values())[:50]:
            value = str(cells.get(column.index, ""))
            tail = value[19:] if len(value) > 19 else ""
            if tail[:1] in ("+", "-", "Z") and len(tail) <= 6:
                return value
    return ""
