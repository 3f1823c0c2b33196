"""One merge: bytes of a book and of copies in, bytes of the merged book out. Touches no file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from siltbook.batch.errors import BookError
from siltbook.batch.merging.join import join
from siltbook.batch.merging.points import Point
from siltbook.batch.merging.rows import Origin, Plan, added
from siltbook.batch.merging.sheets import merge_book, read_origins, read_points
from siltbook.batch.merging.sides import Side, Value, open_side
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.cells import Workbook, address
from siltbook.batch.reading.workbook import open_workbook
from siltbook.templates.contract import FARM, MERGE_SHEETS
from siltbook.templates.shown import IN_METRES, Shown


@dataclass(frozen=True)
class Merged:
    """The merged book, None where nothing was to change; what is to be said of it.

    `added` rows by sheet, `changed` cells, `taken` and `kept` choices, `points` all lines.
    """

    data: bytes | None
    added: Mapping[str, int]
    changed: int
    emptied: int
    taken: int
    kept: int
    points: tuple[Point, ...]
    shown: Shown = IN_METRES  # how the book has dates shown

    @property
    def waiting(self) -> tuple[Point, ...]:
        """The lines that nobody has decided."""
        return tuple(p for p in self.points if not p.state)


def merge_bytes(
    book: tuple[bytes, str], copies: Sequence[tuple[bytes, str]], base: tuple[bytes, str] | None
) -> Merged:
    """Merge copies of a season into its book; each is its bytes and its name.

    SiltbookError, one sentence, where a file cannot be read or the book takes no change.
    """
    from siltbook.batch.package.limits import GraftError
    from siltbook.batch.reading.foreign import FORMATS, kind_of

    data, name = book
    if kind := kind_of(data):
        raise BookError(
            f"{name} is {FORMATS[kind]}, which cannot take rows: save it as .xlsx in a "
            "spreadsheet program and give that file; nothing was changed."
        )
    home = open_side(data, name)
    others = [open_side(*copy, home) for copy in copies]
    for other in others:
        _refuse_stranger(home, other)
    workbook = open_workbook(open_package(data, name), name)
    earlier, origins = read_points(workbook), read_origins(workbook)
    plan = join(home, others, open_side(*base, home) if base else None, earlier)
    try:
        return _Placing(data, name, home, workbook, plan, earlier, origins).run()
    except GraftError as error:
        raise BookError(f"{name}: {error}") from error


def _refuse_stranger(home: Side, other: Side) -> None:
    """BookError where a copy shares no station with the book: it is another farm's."""
    mine = {e.key for e in home.entries["Stations"]}
    theirs = {e.key for e in other.entries["Stations"]}
    if mine and theirs and not mine & theirs:
        raise BookError(
            f"{other.name} has no station in common with {home.name}: it is no copy of that book. "
            "Give the copies of one season; nothing was changed."
        )


class _Placing:
    """Writes a plan into the book, cell by cell."""

    def __init__(
        self,
        data: bytes,
        name: str,
        home: Side,
        workbook: Workbook,
        plan: Plan,
        earlier: Sequence[Point],
        origins: Sequence[Origin],
    ) -> None:
        self.data, self.name, self.home, self.plan = data, name, home, plan
        self.styles, self.struck = workbook.styles, workbook.struck
        self.earlier, self.origins = earlier, list(origins)
        self.added: Counter[str] = Counter()
        self.changed = self.emptied = 0
        self.numbers: dict[tuple[str, tuple[str, ...]], int] = {}

    def run(self) -> Merged:
        before = self.data
        for sheet in self.plan.rows:
            if sheet == FARM.name:
                self._settings()
            else:
                self._changes(sheet)
                self._additions(sheet)
        fresh = [self._numbered(o) for o in self.plan.origins]
        points = self.plan.points
        if fresh or list(points) != list(self.earlier):
            self._sheets(points, [*self.origins, *fresh])
        made = self.data if self.data != before else None
        return Merged(made, dict(self.added), self.changed, self.emptied, self.plan.taken,
                      self.plan.kept, points, self.home.book.settings.shown)  # fmt: skip

    def _changes(self, sheet: str) -> None:
        from siltbook.batch.review.append import change_cells

        table = self.home.tables[sheet]
        changes: dict[int, dict[str, Value | None]] = {}
        for live in self.plan.rows[sheet]:
            if live.row and live.gone:
                changes[live.row] = dict.fromkeys(table.places)
                self.emptied += 1
            elif live.row and live.changed:
                changes[live.row] = dict(live.changed)
                self.changed += len(live.changed)
        if changes:
            self.data = change_cells(self.data, table, changes, self.styles)

    def _additions(self, sheet: str) -> None:
        from siltbook.batch.review.append import append_rows

        table = self.home.tables[sheet]
        lives = list(added(self.plan, sheet))
        rows = [{k: v for k, v in live.cells.items() if k in table.places} for live in lives]
        if rows:
            self.data, numbers = append_rows(self.data, table, rows, self.styles, self.struck)
            self.added[sheet] += len(rows)
            for live, number in zip(lives, numbers, strict=True):
                self.numbers[sheet, live.key] = number

    def _settings(self) -> None:
        from siltbook.batch.review.append import change_cells

        for live in self.plan.rows[FARM.name]:
            if "value" not in live.changed:
                continue
            row, column = address(self.home.book.setting_cells[live.key[0]])
            table = replace(self.home.tables[FARM.name], places={"value": column})
            self.data = change_cells(self.data, table, {row: live.changed}, self.styles)
            self.changed += 1

    def _numbered(self, origin: Origin) -> Origin:
        row = self.numbers.get((origin.sheet, origin.key), 0)
        lives = (r.row for r in self.plan.rows.get(origin.sheet, ()) if r.key == origin.key)
        return replace(origin, row=row or next(lives, 0))

    def _sheets(self, points: Sequence[Point], origins: Sequence[Origin]) -> None:
        from siltbook.batch.graft import free_names, graft

        names = list(free_names(self.data, MERGE_SHEETS).values())
        shown = self.home.book.settings.shown
        made = merge_book(points, sorted(origins, key=_order), names, self.name, shown)
        self.data = graft(self.data, made, names)


def _order(origin: Origin) -> tuple[object, ...]:
    return (origin.sheet, origin.key, origin.what, origin.file, origin.by)
