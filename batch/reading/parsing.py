"""One cell's text to a number, date, time or choice. Nothing here raises on a person's text."""

from __future__ import annotations

import datetime as dt
import math
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass

from siltbook.templates.names import UNSEEN
from siltbook.templates.units import known_unit

FIRST_YEAR, LAST_YEAR = 1950, 2149
_EPOCH = dt.date(1899, 12, 30)  # day 0 of spreadsheet serial numbers
_DAY = 86_400  # [s]
FROM_1904 = 1462  # [days] from the first day of spreadsheets to that of those from 1904
A_DAY_AND_MORE = 10.0  # [days] below which a number in a cell of times is a stretch of time
_COMPARED = 1_000  # characters
_LONGEST = 100  # characters of a number, a date, a time or a choice with what may stand around it
_NUMBER = re.compile(
    r"([+-]?)\s*([0-9]+(?:[ '.,][0-9]+)*[.,]?|[.,][0-9]+)(?:e([+-]?[0-9]{1,3}))?\s*(.*)\Z",
    re.IGNORECASE | re.DOTALL,
)
_ISO = re.compile(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})(?:[T ]+(.+))?\Z")
_COMPACT = re.compile(r"((?:19|20|21)[0-9]{2})([0-9]{2})([0-9]{2})\Z")
_NUMERIC = re.compile(
    r"([0-9]{1,2})([-/. ])\s*([0-9]{1,2})\2\s*([0-9]{4}|[0-9]{2})(?:[T, ]+(.+))?\Z"
)
_NAMED = re.compile(
    r"([0-9]{1,2})(?:st|nd|rd|th)?[-/. ]+([a-z]{3,9})\.?[-/., ]+([0-9]{4}|[0-9]{2})"
    r"(?:[T, ]+(.+))?\Z",
    re.IGNORECASE,
)
_NAMED_FIRST = re.compile(
    r"([a-z]{3,9})\.?[-/. ]+([0-9]{1,2})(?:st|nd|rd|th)?[-/., ]+([0-9]{4})(?:[T, ]+(.+))?\Z",
    re.IGNORECASE,
)
_WEEKDAY = re.compile(
    r"(?:mon|tue|tues|wed|thu|thur|thurs|fri|sat|sun)(?:day|nesday|rsday|sday|urday)?[., ]+",
    re.IGNORECASE,
)
_MONTHS = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
_TIME = re.compile(
    r"([0-9]{1,2})(?:[:.h]([0-9]{2})(?:[:.]([0-9]{2})(?:[.,][0-9]+)?)?)?\s*(h|hrs|[ap]\.?m\.?|z)?\Z",
    re.IGNORECASE,
)


def tidy(text: str) -> str:
    """Text for comparing: odd spaces and full-width signs made plain, ends stripped.

    Two texts that differ only behind their first thousand characters count as the same.
    """
    text = text[:_COMPARED]
    if text.isascii() and text.isprintable() and "  " not in text:
        return text.strip()  # most cells, and nothing below would change them
    text = text.translate(UNSEEN)
    text = unicodedata.normalize("NFKC", text).replace("\u2212", "-").replace("\u2019", "'")
    return re.sub(r"\s+", " ", text).strip()


@dataclass(frozen=True)
class NumberText:
    """A number as typed. `value` is None where it can be read two ways or not at all."""

    value: float | None
    rest: str = ""  # what follows the number: a unit, a percent sign
    ambiguous: bool = False


def number_text(text: str, mark: str = "") -> NumberText:
    """Parse `2.4`, `2,4`, `1 234,5`, `35 psi`; `mark` is the decimal mark of the column, if known.

    A single separator before exactly three digits (`1,234`) can be read two ways and stays
    ambiguous without `mark`.
    """
    found = _NUMBER.match(tidy(text)) if len(text) <= _LONGEST else None
    if not found:
        return NumberText(None)
    sign, body, power, rest = found.groups()
    decimal = _decimal_mark(body)
    if decimal is None:
        return NumberText(None, rest)
    if decimal == "?":
        if not mark:
            return NumberText(None, rest, ambiguous=True)
        decimal = mark
    for other in " '.,":
        if other != decimal:
            body = body.replace(other, "")
    value = float(f"{sign}{body.replace(',', '.')}e{power or 0}")
    return NumberText(value if math.isfinite(value) else None, rest.strip())


def _decimal_mark(body: str) -> str | None:
    """The decimal mark of an unsigned number, '?' where open, None where it is no number."""
    if re.fullmatch(r"[0-9]*[.,]?[0-9]*", body):
        if re.fullmatch(r"[1-9][0-9]{0,2}[.,][0-9]{3}", body):
            return "?"
        return "," if "," in body else "."
    for group, decimal in (("[ ']", "[.,]"), (",", "[.]"), ("[.]", ",")):
        if re.fullmatch(rf"[0-9]{{1,3}}(?:{group}[0-9]{{3}})+(?:{decimal}[0-9]*)?", body):
            marks = [sign for sign in ".," if body.count(sign) == 1 and group[-2:-1] != sign]
            tail = [sign for sign in marks if not re.fullmatch(group, sign)]
            return tail[0] if tail else "none"
    return None


def decimal_mark(texts: Iterable[str]) -> str:
    """The decimal mark that a column's texts agree on, or '' where they do not settle it."""
    marks = set()
    for text in texts:
        found = _NUMBER.match(tidy(text)) if len(text) <= _LONGEST else None
        mark = _decimal_mark(found[2]) if found else None
        if found and mark in (".", ",") and mark in found[2]:
            marks.add(mark)
    return marks.pop() if len(marks) == 1 else ""


@dataclass(frozen=True)
class DateText:
    """A date as typed. `ambiguous`: day and month could change places; `beyond`: it is of a year
    that no entry can be of."""

    date: dt.date | None
    time: dt.time | None = None
    ambiguous: bool = False
    order: str = ""  # 'dmy' or 'mdy' where this text alone settles it
    beyond: bool = False


def date_text(text: str, order: str = "") -> DateText:
    """Parse a typed date; `order` ('dmy', 'mdy') settles what the text alone does not."""
    if len(text) > _LONGEST:
        return DateText(None)
    text = _WEEKDAY.sub("", tidy(text), count=1)
    if found := _ISO.match(text):
        return _dated(found[1], found[3], found[4], found[5])
    if found := _COMPACT.match(text):
        return _dated(found[1], found[2], found[3], None)
    if found := _NAMED.match(text):
        return _dated(found[3], _month(found[2]), found[1], found[4])
    if found := _NAMED_FIRST.match(text):
        return _dated(found[3], _month(found[1]), found[2], found[4])
    if found := _NUMERIC.match(text):
        return _numeric_date(int(found[1]), int(found[3]), found[4], found[5], order)
    return DateText(None)


def _numeric_date(first: int, second: int, year: str, time: str | None, order: str) -> DateText:
    own = ""
    if first > 12 >= second:
        own = "dmy"
    elif second > 12 >= first:
        own = "mdy"
    elif first != second and first <= 12 and second <= 12 and not order:
        checked = _dated(year, str(second), str(first), time)
        return DateText(None, ambiguous=checked.date is not None, beyond=checked.beyond)
    day, month = (second, first) if (own or order) == "mdy" else (first, second)
    made = _dated(year, str(month), str(day), time)
    return DateText(made.date, made.time, order=own if made.date else "", beyond=made.beyond)


def _month(name: str) -> str:
    name = name.casefold()
    name = "sep" if name == "sept" else name
    for number, full in enumerate(_MONTHS, 1):
        if name in (full, full[:3]):
            return str(number)
    return "0"


def _dated(year: str, month: str, day: str, time: str | None) -> DateText:
    number = int(year) + (2000 if len(year) == 2 else 0)
    try:
        date = dt.date(number, int(month), int(day))
    except ValueError:
        return DateText(None)
    if not FIRST_YEAR <= number <= LAST_YEAR:
        return DateText(None, beyond=True)
    if time is None:
        return DateText(date)
    clock = time_text(time)
    return DateText(date, clock) if clock is not None else DateText(None)


def date_order(texts: Iterable[str]) -> str:
    """The order that a column's unambiguous texts agree on ('dmy', 'mdy'), or ''."""
    orders = {date_text(text).order for text in texts} - {""}
    return orders.pop() if len(orders) == 1 else ""


def time_text(text: str) -> dt.time | None:
    """A typed time: 7:30, 7.30, 07:30:15, 0730, 7h30, 7:30 pm; None where it is none.

    0.25 is none: a quarter of a day, as programs keep six o'clock, or a quarter past midnight.
    """
    if len(text) > _LONGEST:
        return None
    text = tidy(text)
    if re.fullmatch(r"0\.[0-9]{2}", text):
        return None
    if re.fullmatch(r"[0-9]{3,4}", text):
        return _clock(int(text[:-2]), int(text[-2:]), 0)
    found = _TIME.match(text)
    if not found or not (found[2] or found[4]):
        return None
    hour, suffix = int(found[1]), (found[4] or "").casefold()
    if suffix[:1] in ("a", "p"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if suffix[0] == "p" else 0)
    return _clock(hour, int(found[2] or 0), int(found[3] or 0))


def _clock(hour: int, minute: int, second: int) -> dt.time | None:
    if hour > 23 or minute > 59 or second > 59:
        return None
    return dt.time(hour, minute, second)


def serial_date(serial: float, date1904: bool = False) -> dt.date | None:
    """The day of a spreadsheet serial number; None outside the years 1950 to 2149."""
    date = serial_day(serial, date1904)
    return date if date and FIRST_YEAR <= date.year <= LAST_YEAR else None


def serial_day(serial: float, date1904: bool = False) -> dt.date | None:
    """The day that a cell with a spreadsheet serial number shows; None outside 1900 to 9999.

    The days 0 to 60, January and February of 1900, are left out: programs number them differently.
    """
    day = serial + (FROM_1904 if date1904 else 0)
    return _EPOCH + dt.timedelta(days=int(day)) if 61 <= day < 2_958_466 else None


def serial_time(serial: float) -> dt.time | None:
    """The time of day in a serial number's fraction, to the second; None where it is whole."""
    seconds = min(round((serial % 1.0) * _DAY), _DAY - 1)
    if seconds == 0:
        return None
    return dt.time(seconds // 3600, seconds // 60 % 60, seconds % 60)


def hours(number: float) -> str:
    """A stretch of time [days] as hours and minutes, as people type it: 1.0625 is 25:30."""
    minutes = round(number * 24 * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def number_time(number: float, styled: bool) -> dt.time | None:
    """The time that a number cell holds; `styled`: the cell is formatted as a time.

    Fractions of a day and date-times are times; a whole number such as 730 is read as 07:30. A day
    and more, as programs store 24:00 and 25:30, is no time of the day that the row says.
    """
    if 0 <= number < 1:
        return serial_time(number) or dt.time(0, 0)
    if 1 <= number < A_DAY_AND_MORE and styled:
        return None
    if styled or serial_date(number) is not None:
        return serial_time(number) or dt.time(0, 0)
    if number == int(number) and 100 <= number <= 2359:
        return _clock(int(number) // 100, int(number) % 100, 0)
    return None


_SYNONYMS = {
    "yes": ("y", "true", "1"),
    "no": ("n", "false", "0"),
    "screen": ("screen filter", "mesh"),
    "disc": ("disk", "discs", "disks", "disc filter", "disk filter"),
    "media": ("sand", "media filter", "sand filter", "sand media"),
    "one gauge": ("1", "one", "1 gauge", "single gauge"),
    "two gauges": ("2", "two", "2 gauges"),
    "after flush": ("after flushing", "after the flush", "post flush"),
    "after cleaning": ("after clean", "after hand cleaning", "after hand clean", "post cleaning"),
    "flush": ("flushed", "flushing", "manual flush"),
    "hand cleaning": ("hand clean", "hand cleaned", "manual cleaning", "cleaned by hand"),
    "solenoid replaced": ("solenoid replacement", "replaced solenoid", "new solenoid"),
    "controller replaced": ("controller replacement", "replaced controller", "new controller"),
    "screen replaced": ("screen replacement", "replaced screen", "new screen"),
    "2026-08-30": ("yyyy mm dd", "y m d", "year month day", "iso"),
    "30/08/2026": ("dd/mm/yyyy", "d/m/y", "d/m/yyyy", "day/month/year"),
    "08/30/2026": ("mm/dd/yyyy", "m/d/y", "m/d/yyyy", "month/day/year"),
    "called out": ("call out", "callout"),
}  # fmt: skip


def choice(text: str, choices: tuple[str, ...]) -> str | None:
    """The choice that a text means, ignoring case, or by an obvious synonym; None otherwise."""
    if len(text) > _LONGEST:
        return None
    said = re.sub(r"[\s_-]+", " ", tidy(text).casefold()).rstrip(" .")
    for option in choices:
        own = re.sub(r"[\s_-]+", " ", option.casefold())
        if said == own or said in _SYNONYMS.get(option, ()):
            return option
    unit = known_unit(text) or known_unit(tidy(text))
    return unit if unit in choices else None
