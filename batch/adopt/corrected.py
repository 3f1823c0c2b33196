"""A mapping as a person left it: read back, every cell checked, put over what was recognised."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from siltbook.batch.adopt import mapping as m
from siltbook.batch.adopt.context import whole
from siltbook.batch.adopt.inunits import TURNED_UNITS, fits
from siltbook.batch.adopt.logger import WALL_CLOCK
from siltbook.batch.adopt.model import ASK, ROLES, Amount, Cell, Grid
from siltbook.batch.adopt.recognise import parse_date, parse_number, parse_time, unit_of
from siltbook.batch.adopt.sources import workbook_grids
from siltbook.batch.adopt.study import EVERY, Form, Study, use_answers
from siltbook.batch.adopt.words import plain
from siltbook.batch.errors import BookError
from siltbook.batch.reading.parsing import choice, tidy
from siltbook.templates.book import column_letters
from siltbook.templates.contract import FLOW_UNITS, PRESSURE_UNITS, WORKS, YES_NO
from siltbook.templates.units import UNITS


@dataclass
class Settled:
    """One column as the person left it."""

    letters: str
    header: str
    role: str
    unit: str
    station: str


@dataclass
class Told:
    """What a mapping says: columns by table, answers, names, work to enter, its sources."""

    name: str
    tables: dict[str, list[Settled]] = field(default_factory=dict)
    answers: dict[str, str] = field(default_factory=dict)
    before: dict[str, str] = field(default_factory=dict)  # answers that stood when it was made
    asked: dict[str, str] = field(default_factory=dict)  # about -> the question
    names: dict[str, str] = field(default_factory=dict)
    work: list[dict[str, object]] = field(default_factory=list)
    prints: frozenset[str] = frozenset()


class _Sheet:
    """The rows of one of the mapping's sheets, by header, with their addresses."""

    def __init__(
        self, grids: Sequence[Grid], name: str, sheet: str, headers: Sequence[str]
    ) -> None:
        found = [g for g in grids if plain(g.sheet) == plain(sheet)]
        if not found:
            raise BookError(
                f"{name} has no sheet {sheet}, so it is no mapping: run 'siltbook adopt SOURCE' "
                "without --mapping to have one made."
            )
        self.name, self.grid = name, found[0]
        wanted = [plain(h) for h in headers if h not in m.LATER]
        for row, cells in self.grid.rows.items():
            texts = {plain(str(v)): c for c, v in cells.items()}
            if all(h in texts for h in wanted):
                self.top, self.places = (
                    row,
                    {h: texts[plain(h)] for h in headers if plain(h) in texts},
                )
                return
        raise BookError(
            f"{name}, sheet {sheet}: its header row is not as it was ({', '.join(headers)});"
            " restore it, or have the mapping made again."
        )

    def rows(self) -> Iterator[_Line]:
        for row, cells in self.grid.rows.items():
            if row > self.top and any(c in cells for c in self.places.values()):
                yield _Line(self, row, cells)


@dataclass
class _Line:
    """One row of a mapping's sheet."""

    sheet: _Sheet
    row: int
    cells: dict[int, Cell]

    def value(self, header: str) -> Cell | None:
        return self.cells.get(self.sheet.places.get(header, -1))

    def text(self, header: str) -> str:
        value = self.value(header)
        if isinstance(value, dt.datetime):
            return value.date().isoformat()
        return (
            ""
            if value is None
            else tidy(f"{value:.10g}" if isinstance(value, float) else str(value))
        )

    def refuse(self, header: str, accepted: str) -> BookError:
        cell = f"{column_letters(self.sheet.places[header])}{self.row}"
        return BookError(
            f"{self.sheet.name}, sheet {self.sheet.grid.sheet}, cell {cell}: read "
            f"'{self.text(header)}' under '{header}'; accepted: {accepted}. Correct it and run"
            " again; nothing was changed."
        )


def read_mapping(data: bytes, name: str) -> Told:
    """A mapping as a person left it; BookError, one sentence, at the first cell that is odd."""
    grids = workbook_grids(data, name)
    told = Told(name)
    for line in _Sheet(grids, name, m.QUESTIONS, m.QUESTION_HEADERS).rows():
        about, answer = line.text("About"), line.text("Your answer")
        if about:
            told.answers[about] = _answer(line, answer)
            told.asked[about] = line.text("Question")
            if line.text("Question") == m.ANSWERED:
                told.before[about] = answer
    for line in _Sheet(grids, name, m.COLUMNS, m.COLUMN_HEADERS).rows():
        told.tables.setdefault(line.text("Table"), []).append(_column(line))
    for line in _Sheet(grids, name, m.STATIONS, m.STATION_HEADERS).rows():
        found, wanted = line.text("Name as found"), line.text("Name in the book")
        if found:
            if not wanted or len(wanted) > 100:
                raise line.refuse("Name in the book", "a station's name of up to 100 characters")
            told.names[found] = wanted
    for line in _Sheet(grids, name, m.PROPOSED, m.PROPOSED_HEADERS).rows():
        told.work += _work(line)
    start = next((g for g in grids if g.sheet == "Start"), None)
    cells = [str(v) for row in (start.rows.values() if start else ()) for v in row.values()]
    told.prints = frozenset(v for v in cells if len(v) == 64)
    return told


def _answer(line: _Line, answer: str) -> str:
    accepted = [a.strip() for a in line.text("Accepted answers").split(",")]
    about = line.text("About")
    if about.endswith(EVERY):
        if not answer.isdecimal() or not 1 <= int(answer) <= 96:
            raise line.refuse("Your answer", "a whole number from 1 to 96")
        return answer
    if about.endswith("time zone") and answer:
        return _zone(line, answer)
    if not answer or line.text("Question") == m.ANSWERED or accepted == ["your own words"]:
        return answer
    exact = next((a for a in accepted if plain(a) == plain(answer)), "")
    if not exact and unit_of(answer) in accepted:
        exact = unit_of(answer)
    if not exact:
        raise line.refuse("Your answer", ", ".join(accepted))
    return exact


def _zone(line: _Line, answer: str) -> str:
    from zoneinfo import ZoneInfo, available_timezones

    if plain(answer) == plain(WALL_CLOCK):
        return WALL_CLOCK
    if answer not in available_timezones():
        raise line.refuse("Your answer", f"'{WALL_CLOCK}', or a zone such as Europe/Lisbon")
    return ZoneInfo(answer).key


def _column(line: _Line) -> Settled:
    role = line.text("Taken for").casefold()
    if role not in (*ROLES, ASK):
        raise line.refuse("Taken for", ", ".join(ROLES))
    typed = line.text("Unit")
    unit = unit_of(typed) if typed else ""
    if typed and not unit:
        raise line.refuse("Unit", f"{', '.join(UNITS)}, or nothing")
    if not fits(role, unit):
        known = FLOW_UNITS if role == "flow" else PRESSURE_UNITS
        raise line.refuse("Unit", f"for {role}: {', '.join(known)}, or nothing")
    return Settled(
        line.text("Column"), line.text("Header as found"), role, unit, line.text("Station")
    )


def _work(line: _Line) -> list[dict[str, object]]:
    """One proposed row as it will enter, or nothing where the person took it out."""
    enter = choice(line.text("Enter"), YES_NO) if line.text("Enter") else "no"
    if enter is None:
        raise line.refuse("Enter", "yes or no")
    if enter == "no":
        return []
    work = choice(line.text("Work"), WORKS)
    if work is None:
        raise line.refuse("Work", ", ".join(WORKS))
    if not line.text("Station"):
        raise line.refuse("Station", "a station's name, or no under 'Enter'")
    date = parse_date(line.value("Date") or "").date
    if date is None:
        raise line.refuse("Date", "a date such as 2026-05-31")
    made: dict[str, object] = {"station": line.text("Station"), "date": date, "work": work}
    if line.text("Time"):
        made["time"] = parse_time(line.value("Time") or "")
        if made["time"] is None:
            raise line.refuse("Time", "a time such as 07:30")
    made |= _details(line)
    return [made]


def _details(line: _Line) -> dict[str, object]:
    made: dict[str, object] = {}
    # Words that cannot be read stand there as in the source: the book asks for them.
    for header, key in m.SIGNS:
        if text := line.text(header):
            made[key] = choice(text, YES_NO) or text
    for header, key in (("Cycles", "cycles"), ("Lowest inlet in flush", "flush_inlet")):
        if text := line.text(header):
            number = parse_number(line.value(header) or "")[0]
            if (number is None and key != "cycles") or (number is not None and number < 0):
                raise line.refuse(header, "a number, or nothing")
            made[key] = text if number is None else number
    if "flush_inlet" in made:
        unit = unit_of(line.text("Unit"))
        if unit not in PRESSURE_UNITS and unit not in TURNED_UNITS:
            raise line.refuse("Unit", "the unit of the lowest inlet in the flush, for example bar")
        made["flush_inlet"] = Amount(float(str(made["flush_inlet"])), unit)
    for header, key in (("Done by", "done_by"), ("Remark", "remark"), ("Words", "words")):
        if line.text(header):
            made[key] = whole(line.value(header) or "")
    return made


def apply(told: Told, made: Study, answers: Mapping[str, str]) -> None:
    """Put a mapping over these files' tables; BookError with the difference where they differ."""
    by_headers = {
        tuple(plain(c.header) for c in columns): key for key, columns in told.tables.items()
    }
    for form in made.forms:
        key = by_headers.get(form.headers)
        if key is None:
            raise _other_layout(told, form)
    for form in made.forms:
        form.key = by_headers[form.headers]
        for i, settled in enumerate(told.tables[form.key]):
            for column in form.all_of(i):
                column.role, column.sure = settled.role, "sure"
                column.unit = settled.unit or column.unit
                column.station = settled.station or ("" if column.station else column.station)
    made.answers |= {k: v for k, v in answers.items() if v}
    made.names = dict(told.names.items())
    use_answers(made)


def _other_layout(told: Told, form: Form) -> BookError:
    """The refusal of a file whose columns are not the mapping's: names the difference."""
    headers = list(form.headers)
    known = {k: [plain(c.header) for c in cols] for k, cols in told.tables.items()}
    near = max(known, key=lambda k: len(set(known[k]) & set(headers)), default="")
    of = set(known.get(near, []))
    new = [c.header or f"column {c.letters}" for c in form.columns if plain(c.header) not in of]
    gone = [c.header for c in told.tables.get(near, []) if plain(c.header) not in headers]
    said = []
    if new:
        said.append(f"new: {', '.join(new[:6])}")
    if gone:
        said.append(f"no longer there: {', '.join(gone[:6])}")
    change = "; ".join(said) or "its columns stand in another order or number"
    return BookError(
        f"{form.tables[0].grid.place}: the layout is not the one of {told.name} ({change}). Run "
        "'siltbook adopt' on this file without --mapping to have a new mapping made; nothing was "
        "changed."
    )
