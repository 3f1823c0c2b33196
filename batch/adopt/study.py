"""All sources together: tables of one form, what must be asked, and what a person has settled."""

from __future__ import annotations

import re
import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from siltbook.batch.adopt.columns import values
from siltbook.batch.adopt.inunits import metres, own_units
from siltbook.batch.adopt.layouts import (
    ambiguous_dates,
    doubtful_mark,
    lacking_year,
    refuse_split_numbers,
    settle,
    understand,
)
from siltbook.batch.adopt.logger import is_logger, offset_of
from siltbook.batch.adopt.model import (
    ASK,
    MEASURED,
    PRESSURES,
    ROLES,
    Column,
    Found,
    Grid,
    LeftOut,
    Question,
)
from siltbook.batch.adopt.recognise import parse_number, valueless
from siltbook.batch.adopt.sources import whole_grid
from siltbook.batch.adopt.tables import find_areas
from siltbook.batch.adopt.words import plain
from siltbook.batch.numbers.unplaced import is_ditto
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS
from siltbook.templates.names import name_key

DAY_FIRST, MONTH_FIRST = "day first", "month first"
DECIMAL, THOUSANDS = "a decimal mark", "parts thousands"
SAME, OTHER_STATION = "the same station", "another station"
AS_LABELLED, SWAPPED = "as the headers say", "the other way round"
NO_BOOK: Mapping[str, str] = {}  # no book is to be filled
PENDING = "(station of "  # how a station begins that is still asked for
EVERY = "every: readings a day"  # of a logger; an answer, not a question
_LIKELY = (2.0, 160.0)  # usual inlet pressure [m]
_MOST_DROP = 40.0  # usual drop [m]
_ALIKE = 88.0  # [%] from which two names may be one


@dataclass
class Form:
    """Tables with the same headers: they are mapped once."""

    key: str
    tables: list[Found]

    @property
    def headers(self) -> tuple[str, ...]:
        return tuple(plain(c.header) for c in self.tables[0].columns)

    @property
    def columns(self) -> list[Column]:
        return self.tables[0].columns

    def all_of(self, index: int) -> Iterable[Column]:
        """The same column in each of the form's tables."""
        return (t.columns[index] for t in self.tables)


@dataclass
class Study:
    """What the sources are. `names`: a station's name as found -> as it will be entered."""

    forms: list[Form] = field(default_factory=list)
    unknown: list[LeftOut] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)
    answers: dict[str, str] = field(default_factory=dict)

    @property
    def tables(self) -> list[Found]:
        return [t for form in self.forms for t in form.tables]

    @property
    def columns(self) -> int:
        """Columns of all forms, each counted once."""
        return sum(len(form.columns) for form in self.forms)


def study(grids: Iterable[Grid]) -> Study:
    """Recognise every table of these sheets; what is none is listed."""
    made = Study()
    tables: list[Found] = []
    for grid in grids:
        found = [f for area in find_areas(grid) if (f := understand(area))]
        settle(found)
        refuse_split_numbers(found)
        for one in found:
            one.logger = is_logger(one)
        if grid.text and not any(one.logger for one in found):
            grid = whole_grid(grid)
            found = [f for area in find_areas(grid) if (f := understand(area))]
        inside = {r for f in found for r in range(1, f.last + 1)} if found else set()
        rest = [r for r in grid.rows if r not in inside] if not found else []
        if rest:
            why = "no date beside a pressure, a drop or work: no filter readings"
            made.unknown.append(LeftOut(grid.place, f"{len(rest)} rows", why, len(rest)))
        tables += found
    settle(tables)
    by: dict[tuple[str, ...], Form] = {}
    for table in tables:
        headers = tuple(plain(c.header) for c in table.columns)
        by.setdefault(headers, Form(f"T{len(by) + 1}", [])).tables.append(table)
    made.forms = list(by.values())
    for form in made.forms:
        if any(t.logger for t in form.tables):
            made.answers[f"{form.key} {EVERY}"] = "1"
    return made


def stations_of(made: Study) -> dict[str, int]:
    """Every station's name as found, with the number of places that name it, in their order."""
    counts: dict[str, int] = {}
    for table in made.tables:
        names: list[str] = []
        if table.layout == "wide":
            names = [c.station for c in table.columns if c.station]
        elif table.of("station"):
            index = table.of("station")[0].index
            rows = table.grid.rows
            names = [
                " ".join(_text(rows[r][index]).split()) for r in rows
                if table.first <= r <= table.last and r not in table.left_out and index in rows[r]
            ]  # fmt: skip
        elif table.layout == "sections":
            names = [n for n in table.sections.values() if n]
        elif table.station:
            names = [table.station]
        for name in names:
            if name.startswith(PENDING) or is_ditto(name) or valueless(name):
                continue
            counts[name] = counts.get(name, 0) + 1
    return counts


def _text(value: object) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def questions(made: Study, register: Mapping[str, str] = NO_BOOK) -> list[Question]:
    """What only a person knows and has not yet settled.

    `register`: every name by which the book that is to be filled knows a station -> its own name.
    """
    asked: list[Question] = []
    for form in made.forms:
        asked += _of_columns(form)
        asked += _of_dates(form, made.answers)
        asked += _of_stations(form)
    asked += _of_units(made)
    asked += _of_values(made)
    asked += _of_names(made, register)
    return [q for q in asked if not made.answers.get(q.about)]


def _of_columns(form: Form) -> list[Question]:
    place = form.tables[0].grid.place
    return [
        Question(
            f"{form.key}.{column.letters} taken for", f"{place}, column {column.letters}",
            f"What is the column '{column.header or 'without a header'}' "
            f"({', '.join(column.samples)})? {column.why[:1].upper()}{column.why[1:]}.",
            tuple(r for r in ROLES),
        )
        for column in form.columns if column.role == ASK
    ]  # fmt: skip


def _of_dates(form: Form, answers: Mapping[str, str]) -> list[Question]:
    asked = []
    place = form.tables[0].grid.place
    doubtful = next((d for t in form.tables if (d := ambiguous_dates(t))), "")
    if doubtful:
        text = f"Is '{doubtful}' written with the day first or with the month first?"
        asked.append(Question(f"{form.key} date order", place, text, (DAY_FIRST, MONTH_FIRST)))
    stamp = next((s for t in form.tables if t.logger and (s := offset_of(t))), "")
    if stamp:
        text = (
            f"'{stamp}' carries an offset. Write 'as written' for the clock as it stands, or the "
            "zone whose time is meant, such as Europe/Lisbon."
        )
        asked.append(Question(f"{form.key} time zone", place, text, ()))
    number = next((d for t in form.tables if (d := doubtful_mark(t))), "")
    if number:
        mark = "comma" if "," in number else "point"
        text = f"Is the {mark} in '{number}' a decimal mark, or does it part thousands?"
        asked.append(Question(f"{form.key} decimal mark", place, text, (DECIMAL, THOUSANDS)))
    lacking = next((d for t in form.tables if (d := lacking_year(t))), "")
    if lacking:
        asked.append(Question(f"{form.key} year", place, f"Which year is '{lacking}'?", ()))
    return asked


def _of_stations(form: Form) -> list[Question]:
    return [
        Question(
            station_about(table), table.grid.place,
            f"Which station is the table at row {table.header_rows[0]} about? Write its name.", (),
        )
        for table in form.tables if table.layout == "block" and not table.station
    ]  # fmt: skip


def station_about(table: Found) -> str:
    """The key of the question which station a table is about."""
    return f"station of {table.grid.place}, row {table.header_rows[0]}"


def hold_places(made: Study) -> None:
    """Let rows whose station is still asked for arrive under the question, in brackets."""
    for table in made.tables:
        if table.layout == "block" and not table.station:
            table.station = f"({station_about(table)})"


def _of_units(made: Study) -> list[Question]:
    """One question for all pressures, one for all flows, that carry no unit."""
    asked = []
    for what, roles, units in (
        ("pressure unit", (*PRESSURES, ASK), PRESSURE_UNITS),
        ("flow unit", ("flow",), FLOW_UNITS),
    ):
        lacking = [
            c for f in made.forms for c in f.columns
            if c.role in roles and not c.unit and not own_units(f.tables[0], c)
        ]  # fmt: skip
        if lacking:
            names = ", ".join(f"'{c.header}'" for c in lacking[:4])
            text = f"In which unit are {names} ({', '.join(lacking[0].samples)})?"
            asked.append(Question(what, made.tables[0].grid.place, text, units, len(lacking)))
    return asked


def usual(table: Found, column: Column) -> float | None:
    """The median of a column's numbers in its own unit; None without any."""
    read = [parse_number(v, table.decimal)[0] for v in values(table, column.index)]
    known = [v for v in read if v is not None]
    return statistics.median(known) if known else None


def _of_values(made: Study) -> list[Question]:
    """Units that make the usual value impossible, and sides that seem exchanged."""
    asked = []
    for form in made.forms:
        table = form.tables[0]
        for column in form.columns:
            middle = usual(table, column) if column.role in PRESSURES and column.unit else None
            if middle is None or column.unit in FLOW_UNITS:
                continue
            size = metres(middle, column.unit)
            low, high = _LIKELY if column.role == "inlet" else (0.0, _LIKELY[1])
            high = _MOST_DROP if column.role == "drop" else high
            if not low <= abs(size) <= high and middle != 0:
                per = metres(1.0, column.unit)
                most = f"{low / per:.2g} to {high / per:.2g} {column.unit}"
                text = (
                    f"'{column.header}' is usually {middle:g} {column.unit}, where {most} is usual:"
                    " is that its unit?"
                )
                about = f"{form.key}.{column.letters} unit"
                asked.append(Question(about, table.grid.place, text, PRESSURE_UNITS))
        if _exchanged(table):
            text = "The outlet is mostly above the inlet: are the two headers right?"
            about = f"{form.key} sides"
            asked.append(Question(about, table.grid.place, text, (AS_LABELLED, SWAPPED), 2))
    return asked


def _exchanged(table: Found) -> bool:
    pairs: dict[str, dict[str, Column]] = {}
    for column in table.of("inlet", "outlet"):
        pairs.setdefault(column.station, {})[column.role] = column
    above = both = 0
    for sides in pairs.values():
        if len(sides) < 2 or sides["inlet"].unit != sides["outlet"].unit:
            continue
        inlet, outlet = usual(table, sides["inlet"]), usual(table, sides["outlet"])
        if inlet is not None and outlet is not None:
            both += 1
            above += outlet > inlet
    return both > 0 and above > both / 2


def _of_names(made: Study, register: Mapping[str, str]) -> list[Question]:
    """Names that may be one station's, spelt in two ways; those that the register has are one."""
    from rapidfuzz import fuzz

    asked = []
    known = list(register)
    own = {name_key(name): station for name, station in register.items()}
    for name in stations_of(made):
        if name in made.names:
            continue
        if name_key(name) in own:
            made.names[name] = own[name_key(name)]
            continue
        squeezed = _squeezed(name)
        for other in known:
            if name_key(other) == name_key(name):
                break
            digits = [c for c in plain(other) if c.isdigit()] == [
                c for c in plain(name) if c.isdigit()
            ]
            one = squeezed == _squeezed(other) or _is_copy(name, other) or _is_copy(other, name)
            near = digits and len(squeezed) > 4 and fuzz.ratio(plain(other), plain(name)) >= _ALIKE
            if one or near:
                text = f"Is '{name}' the same station as '{other}'?"
                asked.append(
                    Question(f"name {name} = {other}", "Stations", text, (SAME, OTHER_STATION))
                )
                break
        known.append(name)
    return asked


def _is_copy(name: str, other: str) -> bool:
    """Whether a name is another's with the (2) of a copied sheet behind it."""
    return name_key(re.sub(r"(?<=\S) ?\([0-9]{1,2}\)\Z", "", name)) == name_key(other)


def _squeezed(name: str) -> str:
    """A name without spaces, without zeros before a number and a .0 behind it."""
    name = re.sub(r"(?<=[0-9])[.,]0+(?![0-9])", "", name)
    return re.sub(r"(?<![0-9])0+(?=[0-9])", "", plain(name).replace(" ", ""))


def use_answers(made: Study) -> None:
    """Let what a person answered hold: units, sides, dates, names. Unknown answers are ignored."""
    for form in made.forms:
        for i, column in enumerate(form.columns):
            role = made.answers.get(f"{form.key}.{column.letters} taken for", "")
            unit = made.answers.get(f"{form.key}.{column.letters} unit", "")
            for each in form.all_of(i):
                if role in ROLES and each.role == ASK:
                    each.role, each.sure, each.why = role, "sure", "your answer"
                each.unit = unit or each.unit
        _use_form_answers(form, made.answers)
    for what, roles in (("pressure unit", PRESSURES), ("flow unit", ("flow",))):
        unit = made.answers.get(what, "")
        for column in (c for t in made.tables for c in t.of(*roles) if unit and not c.unit):
            column.unit = unit
    for about, answer in made.answers.items():
        if about.startswith("name ") and answer == SAME:
            name, _, other = about.removeprefix("name ").partition(" = ")
            made.names[name] = other


def _use_form_answers(form: Form, answers: Mapping[str, str]) -> None:
    order = {DAY_FIRST: "dmy", MONTH_FIRST: "mdy"}.get(
        answers.get(f"{form.key} date order", ""), ""
    )
    year = answers.get(f"{form.key} year", "")
    swap = answers.get(f"{form.key} sides") == SWAPPED
    mark = answers.get(f"{form.key} decimal mark", "")
    for table in form.tables:
        if mark and (number := doubtful_mark(table)):
            comma = ("," in number) == (mark == DECIMAL)
            table.decimal = "," if comma else "."
        table.date_order = table.date_order or order
        if year.isdecimal():
            table.year = table.year or int(year)
        about = station_about(table)
        table.station = table.station or answers.get(about, "")
        if swap:
            for column in table.of("inlet", "outlet"):
                column.role = "outlet" if column.role == "inlet" else "inlet"


def asked_columns(asked: Iterable[Question]) -> int:
    """Columns that wait for an answer."""
    return sum(q.columns for q in asked if q.about[:1] in "Tpf")


def measured_columns(form: Form) -> list[Column]:
    """The columns of a form that hold pressures or flows."""
    return [c for c in form.columns if c.role in MEASURED]
