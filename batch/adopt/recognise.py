"""What a header, a date, a number or a unit means: by the word table, never by a silent guess."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from functools import lru_cache

from siltbook.batch.adopt.model import NO_VALUE, PRESSURES, Cell, Parsed
from siltbook.batch.adopt.words import find_phrase, longest_first, month_of, plain, table
from siltbook.batch.reading.parsing import (
    DateText,
    date_text,
    number_text,
    number_time,
    serial_date,
    serial_time,
    tidy,
    time_text,
)
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS
from siltbook.templates.units import known_unit

_ROLE_NAMES = {
    "stamp": "date and time", "remark": "note", "read_by": "read by", "other": "leave out",
}  # fmt: skip
# Words of these roles stand in names as well: alone they are a role, with more a name.
_NAMING = ("station", "field", "date", "time", "water", "occasion", "cycles")
NEAR = 86.0  # [%] of likeness from which a misspelt header counts as the word
_SHORTEST = 5  # letters of a word that may be misspelt
_ERROR = re.compile(r"#(?:DIV/0!|N/A|NAME\?|NULL!|NUM!|REF!|VALUE!|[A-Z_]+[!?])")
AROUND_WORK = "before or after work, so that two readings stand in one row: enter one of them"
_BEFORE = frozenset(("before", "antes", "avant", "prima", "vor"))
_AROUND = _BEFORE | {"after", "despues", "tras", "depois", "apos", "apres", "dopo", "nach"}
_CLEAN = frozenset(("clean", "cleaning", "wash", "washing", "backwashing", "spuelen", "spulen"))
_BRACKET = re.compile(r"[(\[{]([^)\]}]*)[)\]}]")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YEAR = re.compile(r"(?<![0-9])(20[0-9]{2})(?![0-9])")


def unit_of(text: str) -> str:
    """The unit that a text spells, pressure or flow; '' where it spells none.

    Units that are known and not read (mbar, MPa) are given by their own name.
    """
    known = known_unit(tidy(text))
    if known:
        return known
    meanings = table("unit").get(plain(text), ())
    return meanings[0] if meanings else ""


@lru_cache(maxsize=4096)
def parse_header(text: str) -> Parsed:
    """A header's role, unit and what is left: a station's name, most often."""
    text = tidy(text)
    unit, text = _take_unit(text)
    words = [w for w in re.split(r"[\s|:;,/]+|\s[-–]\s", text) if w and plain(w)]
    owners = [(i, t) for i, w in enumerate(words) for t in plain(w).split()]
    tokens = tuple(t for _, t in owners)
    roles, spans = _roles(tokens)
    used = {i for span in spans.values() for i in span}
    if not roles or (set(roles) <= {"pressure", "station"} and len(tokens) > len(used)):
        near = _near(" ".join(tokens))
        if near:
            return Parsed(near[0], unit, "", "fairly", f"spelt nearly as '{near[1]}'")
    if set(roles) <= {"inlet", "outlet", "drop", "pressure"} and _around_work(tokens):
        return Parsed("pressure", unit, why=AROUND_WORK)
    role, why = _one_role(roles, unit)
    # Other roles' words belong to the name: 'Field 3 inlet' is the inlet of Field 3.
    fillers = table("filler")
    taken = {i for r in (role, "station") for i in spans.get(r, ())}
    taken |= {i for i in spans.get("pressure", ()) if tokens[i] in fillers}
    rest = _rest(words, owners, taken if role else used, role)
    bare = role in _NAMING and " " not in roles[role]
    gauge = role == "pressure" and not any(tokens[i] in fillers for i in spans["pressure"])
    if (bare or gauge) and rest:
        return Parsed("", unit, text, "", "a name")  # 'Filter 3', 'Day tank', 'Field 2'
    sure = "sure" if role else ""
    return Parsed(_ROLE_NAMES.get(role, role), unit, rest, sure, why)


def _around_work(tokens: tuple[str, ...]) -> bool:
    """Whether a header says before or after a flush or a cleaning: 'before' is no side then, and
    such columns are two readings of one visit."""
    known = table("note")
    works = (p for p in longest_first("note") if {"flush", "hand cleaning"} & {*known[" ".join(p)]})
    cleaned = any(find_phrase(tokens, phrase) >= 0 for phrase in works) or _CLEAN & {*tokens}
    return bool(_AROUND & {*tokens} and cleaned)


def against_its_side(text: str) -> bool | None:
    """Whether a header names a side and, by before or after, the other one (*Outlet before*).

    None where it does not say both: such columns are two readings of one visit, then.
    """
    tokens = tuple(plain(text).split())
    sides = {*_roles(tuple(t for t in tokens if t not in _AROUND))[0]} & {"inlet", "outlet"}
    around = _AROUND & {*tokens}
    if len(sides) != 1 or len(around) != 1:
        return None
    return (sides == {"inlet"}) != (around <= _BEFORE)


def _take_unit(text: str) -> tuple[str, str]:
    """The unit in a bracket or at the end, and the text without it."""
    for found in _BRACKET.finditer(text):
        unit = unit_of(found[1])
        if unit:
            return unit, tidy(text[: found.start()] + " " + text[found.end() :])
    found_in = re.search(r"(?:^|[\s,;])(?:in|en|em)\s+(\S+(?:\s\S+)?)\Z", text, re.IGNORECASE)
    if found_in and unit_of(found_in[1]):
        return unit_of(found_in[1]), text[: found_in.start()].strip()
    words = text.split()
    for width in (2, 1):
        tail = " ".join(words[-width:])
        if len(words) > width and unit_of(tail.strip(",;")):
            before = tuple(plain(" ".join(words[:-1])).split())
            if plain(tail) in ("m", "at") and not _roles(before)[0]:
                continue
            return unit_of(tail.strip(",;")), " ".join(words[:-width]).rstrip(",;")
    return "", text


def _roles(tokens: tuple[str, ...]) -> tuple[dict[str, str], dict[str, set[int]]]:
    """Role -> the words that named it, and the tokens that they took; longest phrases first."""
    roles: dict[str, str] = {}
    spans: dict[str, set[int]] = {}
    used: set[int] = set()
    names = table("header")
    for phrase in longest_first("header"):
        at = find_phrase(tokens, phrase)
        span = set(range(at, at + len(phrase)))
        if at < 0 or span & used:
            continue
        for role in names[" ".join(phrase)]:
            roles.setdefault(role, " ".join(phrase))
            spans.setdefault(role, set()).update(span)
        used |= span
    return roles, spans


def _near(text: str) -> tuple[str, str] | None:
    """The role whose words are spelt nearly so; None where none, or two, come near."""
    from rapidfuzz import fuzz, process

    if len(text) < _SHORTEST:
        return None
    known = [w for w in table("header") if len(w) >= _SHORTEST]
    hits = process.extract(text, known, scorer=fuzz.ratio, score_cutoff=NEAR, limit=8)
    # A name before the slip would be swallowed with it.
    hits = [hit for hit in hits if len(hit[0].split()) == len(text.split())]
    roles = {role for word, _, _ in hits for role in table("header")[word]}
    return (roles.pop(), hits[0][0]) if len(roles) == 1 else None


def _one_role(roles: dict[str, str], unit: str) -> tuple[str, str]:
    """One role of those that a header names, and why; '' where it cannot be told."""
    found = set(roles)
    sides = found & {"inlet", "outlet", "drop"}
    if "other" in found and len(found) > 1:
        if found == {"other", "flow"} and unit in FLOW_UNITS:
            return "flow", f"'{roles['flow']}' with its unit"
        if sides and unit in PRESSURE_UNITS:
            return "", ""
        return "other", f"'{roles['other']}'"
    if len(sides) > 1:
        return "", ""
    if sides:
        side = sides.pop()
        return side, f"'{roles[side]}'"
    for role in ("field", "flow", "stamp", "cycles", "water heard", "water", "click"):
        if role in found:
            return role, f"'{roles[role]}'"
    if found == {"date", "time"}:
        return "stamp", "date and time"
    found -= {"station", "pressure"} if len(found) > 1 else set()
    if len(found) == 1:
        role = found.pop()
        return role, f"'{roles[role]}'"
    return "", ""


def _rest(words: list[str], owners: list[tuple[int, str]], used: set[int], role: str) -> str:
    """What a header says besides its role, in its own spelling: a name, or nothing."""
    fillers = table("filler")
    stations = {w for w, roles in table("header").items() if "station" in roles}
    own = [i for i, (_, t) in enumerate(owners) if i not in used and t not in fillers]
    if not own:
        return ""
    soft = [i for i, (_, t) in enumerate(owners) if t in stations]
    first = own[0] - 1 if own[0] - 1 in soft and role != "station" else own[0]
    last = own[-1] + 1 if own[-1] + 1 in soft and role != "station" else own[-1]
    keep = {owners[i][0] for i in range(first, last + 1) if i not in used or i in soft}
    return " ".join(w.strip("-–.()[]") for i, w in enumerate(words) if i in keep)


def is_pressure_role(role: str) -> bool:
    """Whether a column of this role holds pressures or drops."""
    return role in PRESSURES or role == "pressure"


# dates, times, numbers


def english_date(text: str) -> str:
    """A date's text with month names of any language in English and other words taken out."""

    def word(found: re.Match[str]) -> str:
        month = month_of(found[0])
        if month:
            return _MONTHS[month - 1]
        return found[0] if found[0].casefold() in ("am", "pm", "t", "z", "h") else " "

    text = re.sub(r"(?<=[0-9])(?:er|st|nd|rd|th|º|°|\.(?=\s*[^\W\d]))", " ", tidy(text))
    return (
        tidy(re.sub(r"[^\W\d_]+", word, text)).strip(" ,.")
        if re.search(r"[^\W\d_]", text)
        else text
    )


def words_beside(text: str) -> str:
    """What a date's text says besides its day, its time and the names of month and weekday."""
    left = [
        word for word in re.findall(r"[^\W\d_]+", text)
        if len(word) > 1 and month_of(word) is None and plain(word) not in table("day")
    ]  # fmt: skip
    return " ".join(left)


def parse_date(
    value: Cell, order: str = "", year: int | None = None, month: int | None = None
) -> DateText:
    """A cell's date; `order` settles day and month, `year` and `month` what the cell leaves out."""
    if isinstance(value, dt.datetime):
        clock = value.time().replace(microsecond=0)
        return DateText(value.date(), clock if clock != dt.time(0) else None)
    if isinstance(value, bool):
        return DateText(None)
    if isinstance(value, float):
        return _number_date(value, year, month)
    return _text_date(value, order, year, month)


def _number_date(value: float, year: int | None, month: int | None) -> DateText:
    if value == int(value) and 19_500_000 < value < 21_500_000:
        return date_text(str(int(value)))
    if 36_526 <= value < 73_051:  # 2000 to 2099 as a spreadsheet counts days
        return DateText(serial_date(value), serial_time(value))
    if year and month and value == int(value) and 1 <= value <= 31:
        return date_text(f"{year}-{month}-{int(value)}")
    return DateText(None)


@lru_cache(maxsize=65_536)
def _text_date(text: str, order: str, year: int | None, month: int | None) -> DateText:
    found = date_text(text, order)
    if found.date or found.ambiguous:
        return found
    english = english_date(text)
    found = date_text(english, order)
    if found.date or found.ambiguous or year is None:
        return found
    bare = english.rstrip("./- ")
    if re.fullmatch(r"[0-9]{1,2}[-/. ]+[0-9]{1,2}", bare):
        sign = re.sub(r"[0-9 ]", "", bare)[:1] or "."
        first, second = re.findall(r"[0-9]+", bare)
        return date_text(f"{first}{sign}{second}{sign}{year}", order)
    if re.fullmatch(r"[0-9]{1,2}[-/. ]+[a-z]{3}|[a-z]{3}[-/. ]+[0-9]{1,2}", bare):
        return date_text(f"{bare} {year}")
    if month and re.fullmatch(r"[0-9]{1,2}", bare):
        return date_text(f"{year}-{month}-{bare}")
    return DateText(None)


def without_year(values: Iterable[Cell]) -> bool:
    """Whether most texts are dates that leave the year out."""
    texts = [v for v in values if isinstance(v, str)][:50]
    lacking = [v for v in texts if not parse_date(v).date and parse_date(v, "dmy", 2024).date]
    lacking += [v for v in texts if not parse_date(v).date and parse_date(v, "mdy", 2024).date]
    return len(set(lacking)) > len(texts) / 2


def parse_time(value: Cell) -> dt.time | None:
    """A cell's time of day."""
    if isinstance(value, dt.datetime):
        return value.time().replace(microsecond=0)
    if isinstance(value, float):
        return number_time(value, False)
    return time_text(value) if isinstance(value, str) else None


def valueless(value: Cell) -> bool:
    """Whether a cell holds an error in place of a value, or a formula without one."""
    return value == NO_VALUE or (isinstance(value, str) and bool(_ERROR.fullmatch(value)))


def parse_number(value: Cell, mark: str = "") -> tuple[float | None, str]:
    """A cell's number and the unit typed behind it; None where it is none."""
    if isinstance(value, (bool, dt.datetime)):
        return None, ""
    if isinstance(value, float):
        return value, ""
    if "?" in value:
        return None, ""  # whoever typed it doubts it
    found = number_text(value, mark)
    if found.value is None:
        return None, ""
    unit = unit_of(found.rest) if found.rest else ""
    return (found.value, unit) if unit or not found.rest else (None, "")


def two_ways(value: Cell) -> bool:
    """Whether a text is a number with a mark that may part decimals or thousands: 3,125."""
    return isinstance(value, str) and number_text(value).ambiguous


def year_in(text: str) -> int | None:
    """The one year that a title or a sheet's name says."""
    years = set(_YEAR.findall(text))
    return int(years.pop()) if len(years) == 1 else None


def month_in(text: str) -> int | None:
    """The one month that a title or a sheet's name says."""
    months = {month_of(word) for word in re.findall(r"[^\W\d_]+", text)} - {None}
    return months.pop() if len(months) == 1 else None
