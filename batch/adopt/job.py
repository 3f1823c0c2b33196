"""One adoption from files to a mapping, or with a mapping to a book."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from siltbook.batch.adopt.corrected import Told, apply
from siltbook.batch.adopt.encodings import decoded
from siltbook.batch.adopt.harvest import harvest, notes_beside, settle_unplaced
from siltbook.batch.adopt.held import Row
from siltbook.batch.adopt.model import Grid, Harvest, LeftOut, Question
from siltbook.batch.adopt.sources import is_text, text_grid, workbook_grids
from siltbook.batch.adopt.study import EVERY, NO_BOOK, Study, hold_places, questions, study
from siltbook.batch.errors import BookError
from siltbook.batch.fingerprint import digest


@dataclass(frozen=True)
class Source:
    """One file as it was read."""

    path: Path
    data: bytes

    @property
    def print(self) -> str:
        return digest(self.data)


@dataclass
class Adoption:
    """What the sources gave: the study, what is still asked, and the rows."""

    made: Study
    asked: list[Question]
    rows: Harvest
    work: list[Row] = field(default_factory=list)
    new_work: list[Row] = field(default_factory=list)  # proposals that no mapping has seen


def grids_of(sources: Sequence[Source]) -> list[Grid]:
    """Every sheet and text table of the sources; BookError in one sentence."""
    grids: list[Grid] = []
    for source in sources:
        name = source.path.name
        if is_text(source.path):
            grids.append(_of_text(source.data, name))
        else:
            _refuse_book(source)
            grids += workbook_grids(source.data, name)
    return grids


def _of_text(data: bytes, name: str) -> Grid:
    text, said = decoded(data, name)
    return text_grid(text, name, said)


def _refuse_book(source: Source) -> None:
    """BookError for a book of this program of which adoption would make other pressures.

    A station's or a changed gauge's own unit stands on another sheet than the readings.
    """
    from siltbook.batch.reading.book import read_book

    name = source.path.name
    try:
        book = read_book(source.data, name).book
    except BookError:
        return  # not one of this program, or not as it should be
    own = {u for t in (book.stations, book.gauges) for u in t.frame["unit"] if u}
    if "pressure_unit" not in book.setting_cells or own <= {book.settings.pressure_unit}:
        return
    raise BookError(
        f"{name} is a book that Siltbook reads as it stands, with the units of its stations and "
        f"gauges: 'siltbook run {name}' judges it, and 'siltbook merge BOOK {name}' brings its rows"
        " into another book. For a table on a sheet of your own in it, copy that sheet into a file"
        " of its own and give that; nothing was changed."
    )


def look(sources: Sequence[Source], register: Mapping[str, str] = NO_BOOK) -> Adoption:
    """First call: what the sources are, what must be asked, and how their rows would arrive."""
    made = study(grids_of(sources))
    if not made.forms:
        raise _nothing(made, sources)
    asked = questions(made, register)
    hold_places(made)
    return Adoption(made, asked, _rows(made))


def _nothing(made: Study, sources: Sequence[Source]) -> BookError:
    names = ", ".join(s.path.name for s in sources)
    return BookError(
        f"{names}: no table of filter readings was found. One is known by a header row with a date "
        "and inlet and outlet pressures, a drop or work done, in English, Spanish, Portuguese, "
        "French, Italian or German; docs/adopt.md shows every form that is understood."
    )


def use(sources: Sequence[Source], told: Told, register: Mapping[str, str] = NO_BOOK) -> Adoption:
    """Second call: the sources by a mapping as corrected; BookError where an answer is missing."""
    made = study(grids_of(sources))
    if not made.forms:
        raise _nothing(made, sources)
    apply(told, made, told.answers)
    asked = [*questions(made, register), *_names_asked(told)]
    if asked and not {q.about for q in asked} <= set(told.answers):
        # What was answered raised further questions, which the mapping has no row for.
        made.names = {k: v for k, v in told.names.items() if k != v}
        hold_places(made)
        return Adoption(made, asked, _rows(made))
    if asked:
        first = asked[0]
        more = f" and {len(asked) - 1} more" if len(asked) > 1 else ""
        raise BookError(
            f"{told.name}: a question is not answered: {first.text} ({first.about}{more}). Write"
            " the answer into its sheet Questions, or into Columns, and run again; nothing was"
            " changed."
        )
    rows = _rows(made)
    names = {f"({about})": answer for about, answer in told.answers.items()}
    for row in [*rows.readings, *rows.work, *told.work]:
        name = names.get(str(row["station"]), str(row["station"]))
        row["station"] = _called(name, told, made)
    rows.precision = {_called(n, told, made): step for n, step in rows.precision.items()}
    new = _unseen(sources, told, rows.work)
    whole = {s.print for s in sources} <= told.prints
    return Adoption(made, [], rows, told.work if whole else [], new)


def _called(name: str, told: Told, made: Study) -> str:
    """What a station is called: as the sheet Stations says, else by the answer to its question."""
    wanted = told.names.get(name, name)
    if wanted != name:
        return wanted
    other = made.names.get(name, name)
    return told.names.get(other, other)


def _names_asked(told: Told) -> list[Question]:
    """Whether two names are one station, where a person neither said so nor changed the name.

    Once a name stands on the sheet Stations, nothing else asks for it any more.
    """
    return [
        Question(about, "Stations", told.asked.get(about, about), ())
        for about, answer in told.answers.items()
        for found, wanted in told.names.items()
        if not answer and found == wanted and about.startswith(f"name {found} = ")
    ]


def _unseen(sources: Sequence[Source], told: Told, work: Sequence[Row]) -> list[Row]:
    """Proposals that did not stand in the mapping when it was made.

    Those of another file, and those of rows that only an answer made readable.
    """
    if not {s.print for s in sources} <= told.prints:
        return list(work)
    made = study(grids_of(sources))
    apply(told, made, told.before)
    hold_places(made)
    shown = {(w["where"], w["work"]) for w in _rows(made).work}
    return [w for w in work if (w["where"], w["work"]) not in shown]


def _rows(made: Study) -> Harvest:
    rows = Harvest()
    for form in made.forms:
        every = int(made.answers.get(f"{form.key} {EVERY}") or 1)
        zone = made.answers.get(f"{form.key} time zone", "")
        for table in form.tables:
            if table.logger:
                from siltbook.batch.adopt.logger import harvest_records

                harvest_records(table, every, zone, rows)
            else:
                harvest(table, rows)
    settle_unplaced(rows)
    rows.left_out += notes_beside(made.tables)
    for one in made.unknown:
        rows.read += one.rows
        rows.left_out.append(LeftOut(one.where, one.what, one.why, one.rows))
    return rows
