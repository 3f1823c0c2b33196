"""A workbook's bytes to one `Book`: finds sheets, header rows and columns, builds the frames."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from siltbook.batch.errors import BookError
from siltbook.batch.package.limits import DAMAGE, damaged
from siltbook.batch.package.opened import Package, open_package
from siltbook.batch.reading.amounts import UNREADABLE, units_of
from siltbook.batch.reading.aside import loose_remarks, rows_aside, struck_remarks, units_named
from siltbook.batch.reading.cells import SheetCells, SheetPart, Workbook, address
from siltbook.batch.reading.columns import (
    Block,
    accepted_text,
    read_column,
    read_counts,
    read_times,
)
from siltbook.batch.reading.dates import read_dates
from siltbook.batch.reading.farm import read_farm
from siltbook.batch.reading.filled import filled_rows, note_all, note_struck
from siltbook.batch.reading.foreign import as_xlsx
from siltbook.batch.reading.headers import HEADER_ROWS, Header, find_header
from siltbook.batch.reading.lookalike import (
    Missed,
    elsewhere,
    missing_sheet,
    plain_name,
    second_table,
    unread_sheets,
)
from siltbook.batch.reading.lost_rules import half_pair, note_lost
from siltbook.batch.reading.sheetxml import read_sheet
from siltbook.batch.reading.typedunits import TypedUnits
from siltbook.batch.reading.unread import unread_cells
from siltbook.batch.reading.workbook import open_workbook
from siltbook.checks.findings import Finding, find
from siltbook.templates.book import Book, Counts, Settings, Table, column_letters, frame_of
from siltbook.templates.contract import (
    AGREED,
    CARRIED,
    CHANGED_GAUGES,
    FARM,
    LISTS,
    READINGS,
    STATIONS,
    WATER,
    WHOLE_FARM,
    WORK,
    Column,
    Kind,
    Sheet,
)
from siltbook.templates.names import name_key, other_names
from siltbook.templates.units import amount_spellings

if TYPE_CHECKING:
    from numpy.typing import NDArray


DROP_ROUNDING = 0.5  # [m]; a drop is written down in coarse steps


@dataclass(frozen=True)
class ReadResult:
    """A book and what was found wrong in single cells while reading it."""

    book: Book
    findings: tuple[Finding, ...]


def read_book(book: bytes | Package, path: str) -> ReadResult:
    """Read a workbook; BookError with one sentence that names the file where it cannot be read."""
    name = Path(path).name or path
    try:
        package = book if isinstance(book, Package) else open_package(as_xlsx(book, name)[0], name)
        workbook = open_workbook(package, name)
        parts = {sheet.name: _part(workbook, sheet) for sheet in (FARM, *LISTS)}
        for sheet in (STATIONS, READINGS):
            if parts[sheet.name] is None:
                raise missing_sheet(workbook, sheet, name)
        cells = {
            key: read_sheet(workbook, part) if part else SheetCells() for key, part in parts.items()
        }
        unread = list(unread_sheets(workbook, parts, cells[STATIONS.name]))
    except BookError:
        raise
    except DAMAGE as error:
        raise damaged(name, error) from None
    return _Builder(workbook, parts, cells, name, unread).build(path)


def _part(workbook: Workbook, sheet: Sheet) -> SheetPart | None:
    alike = [s for s in workbook.sheets if plain_name(s.name) == plain_name(sheet.name)]
    exact = [s for s in alike if s.name == sheet.name]
    found = exact or alike
    return found[0] if found else None


class _Builder:
    """Builds the book sheet by sheet: settings first, then the register, then what refers to it."""

    def __init__(
        self,
        workbook: Workbook,
        parts: dict[str, SheetPart | None],
        cells: dict[str, SheetCells],
        name: str,
        unread: list[tuple[Finding, Missed]],
    ) -> None:
        self.workbook = workbook
        self.parts = parts
        self.cells = cells
        self.name = name
        self.findings = [finding for finding, _ in unread]
        self.missed = [missed for _, missed in unread]
        self.counts: dict[str, Counts] = {}
        self.register: dict[str, str] = {}
        self.settings = Settings()
        self.units = TypedUnits(self.settings.pressure_unit, self.settings.flow_unit)

    def build(self, path: str) -> ReadResult:
        farm_part = self.parts[FARM.name]
        farm_name = farm_part.name if farm_part else FARM.name
        farm = read_farm(self.cells[FARM.name], farm_name, self.workbook)
        self.settings = farm.settings
        pressure, flow = (
            UNREADABLE if key in farm.unreadable else getattr(farm.settings, key)
            for key in ("pressure_unit", "flow_unit")
        )
        self.units = TypedUnits(pressure, flow)
        self.findings.extend(farm.findings)
        if self.cells[FARM.name].columns and not farm.cells:
            # Labels in other words would leave every default, the unit too, in force unsaid.
            self.findings.append(
                find("column-missing", sheet=farm_name, cell="", read="no setting that is known",
                     accepted="the labels of the template, for example Pressure unit")
            )  # fmt: skip
        # The register and the changed gauges say in which unit the other lists were typed.
        first = (STATIONS, CHANGED_GAUGES)
        tables = {s.name: self.table(s) for s in (*first, *(s for s in LISTS if s not in first))}
        book = Book(
            path=path,
            settings=self.settings,
            stations=tables[STATIONS.name],
            readings=tables[READINGS.name],
            work=tables[WORK.name],
            agreed=tables[AGREED.name],
            water=tables[WATER.name],
            gauges=tables[CHANGED_GAUGES.name],
            carried=tables[CARRIED.name],
            farm_sheet=farm_name,
            setting_cells=farm.cells,
            setting_raw=farm.raw,
            counts=self.counts,
            sheet_names=tuple(part.name for part in self.workbook.sheets),
            date1904=self.workbook.date1904,
            elsewhere=elsewhere(self.missed, self.register),
            names=self.register,
        )
        return ReadResult(book, tuple(self.findings))

    def table(self, sheet: Sheet) -> Table:
        """One list sheet as a typed frame; BookError where its header cannot be found."""
        cells = self.cells.pop(sheet.name)
        part = self.parts[sheet.name]
        title = part.name if part else sheet.name
        if not cells.columns and sheet not in (STATIONS, READINGS):
            return self._empty(sheet, title)
        header = self._header(cells, sheet, title)
        if header is None:
            return self._empty(sheet, title)
        for text, column in header.twice:
            place = f"{column_letters(column)}{header.row}"
            read, accepted = f"'{text}'", "each header once"
            self.findings.append(
                find("column-twice", sheet=title, cell=place, read=read, accepted=accepted)
            )
        if beside := second_table(self.workbook, cells, header, sheet):
            self.missed.append(beside)
        self._note_odd_units(sheet, header, title)
        block = filled_rows(cells, header, sheet, title, self.workbook, self.name)
        note_all(cells, header, sheet, block)
        note_lost(cells, header, sheet, block, self.units.pressure)
        return self._frame(sheet, header, block)

    def _note_odd_units(self, sheet: Sheet, header: Header, title: str) -> None:
        """A column whose header names a unit that cannot be turned into its own is not read."""
        for text, column, key in header.odd:
            place = f"{column_letters(column)}{header.row}"
            known = ", ".join(_units_read(sheet.column(key)))
            self.findings.append(
                find("unit-unknown", sheet=title, cell=place,
                     read=f"'{text}', so the column was not read", accepted=known)
            )  # fmt: skip

    def _refuse_odd_units(self, sheet: Sheet, header: Header, title: str) -> None:
        """BookError where a column that is needed stands in a unit that is not known."""
        for text, column, key in header.odd:
            if sheet.column(key).required:
                place = f"{column_letters(column)}{header.row}"
                known = ", ".join(_units_read(sheet.column(key)))
                raise BookError(
                    f"{self.name}, sheet {title}, cell {place}: read '{text}', a unit that is not"
                    f" known; accepted: {known}. Write one of these, and the readings in it."
                )

    def _header(self, cells: SheetCells, sheet: Sheet, title: str) -> Header | None:
        header = find_header(cells, sheet)
        wanted = [column for column in sheet.columns if column.required]
        places = header.places if header else {}
        odd = {key for _, _, key in header.odd} if header else set()
        instead = {c.key for c in wanted if c.instead in places} - odd
        missing = [c.header for c in wanted if c.key not in places and c.key not in instead]
        if not missing:
            self.findings += half_pair(cells, header, sheet, title) if header else []
            return header
        listed = ", ".join(missing)
        if sheet not in (STATIONS, READINGS, WORK):
            self.findings.append(
                find("column-missing", sheet=title, cell="", read="no header " + listed,
                     accepted=f"these headers in one of the first {HEADER_ROWS} rows")
            )  # fmt: skip
            return None
        if header is not None:
            self._refuse_odd_units(sheet, header, title)
        where = f"its headers were found in row {header.row}" if header else "it has no header row"
        raise BookError(
            f"{self.name}, sheet {title}: no column {listed} ({where}): add the header, spelt as"
            f" in the template, in one of the first {HEADER_ROWS} rows, or run"
            f" 'siltbook adopt {self.name}', which reads books kept in other forms."
        )

    def _empty(self, sheet: Sheet, title: str) -> Table:
        self.counts[sheet.name] = Counts(0, 0, 0)
        block = Block(title, np.zeros(0, dtype=np.int64), {}, {}, [], False)
        return self._frame(sheet, Header(1, {}, {}, ()), block)

    def _frame(self, sheet: Sheet, header: Header, block: Block) -> Table:
        made: dict[str, NDArray[np.object_]] = {}
        names = np.full(len(block.rows), None, dtype=object)
        if sheet.has("station"):
            names = made["station"] = block.stations = self._stations(sheet, block)
        if sheet is STATIONS:
            made["also"] = read_column(block, sheet.column("also"))
            self._learn_names(names, made["also"])
            made["unit"] = read_column(block, sheet.column("unit"))
            self.units.learn_register(block, names, made["unit"])
        if sheet is CHANGED_GAUGES:
            made["since"], _ = read_dates(block, sheet.column("since"))
            made["unit"] = read_column(block, sheet.column("unit"))
            self.units.learn_changes(block, names, made["since"], made["unit"])
            units = self.units.of_rows(names, made["since"])
        else:
            units = self.units.of_rows(names)
        from_dates: dict[int, dt.time] = {}
        for column in sheet.columns:
            if column.key in made:
                continue
            if column.kind is Kind.DATE:
                made[column.key], from_dates = read_dates(block, column)
                if column.key == "date" and self.units.changed:
                    units = self.units.of_rows(names, made["date"])
            elif column.kind is Kind.TIME:
                made[column.key] = read_times(block, column, from_dates)
            else:
                unit = header.units.get(column.key) or self.units.of_kind(column.kind, units)
                made[column.key] = read_column(block, column, unit)
        if sheet is READINGS:
            self._drops(block, made)
        if sheet is WORK:
            counted = read_counts(block, made["work"], made["cycles"].astype(float))
            made["cycles"] = counted  # type: ignore[assignment]
        keep = self._keep(sheet, block, made)
        struck = note_struck(sheet, block)
        self.findings.extend(sorted(block.findings, key=_reading_order))
        known = self._known(sheet, names) if sheet.has("station") else keep
        used = int((keep & known).sum())
        self.counts[sheet.name] = Counts(len(keep), used, len(keep) - used)
        frame = frame_of(sheet, block.rows[keep], {key: of[keep] for key, of in made.items()})
        named = block.sheet, header.row, block.places, frame, block.raw, header.units
        aside, unread = rows_aside(sheet, block, made, keep), unread_cells(sheet, block, made)
        remarks = loose_remarks(block, made, keep), struck_remarks(block)
        return Table(*named, aside, struck, unread, *remarks, units_named(sheet, block, made))

    def _known(self, sheet: Sheet, names: NDArray[np.object_]) -> NDArray[np.bool_]:
        """Whose station is in the register: others stay in the frame for the checks to name."""
        register = set(self.register.values()) | ({WHOLE_FARM} if sheet is AGREED else set())
        return np.array([name in register for name in names.tolist()], dtype=bool)

    def _stations(self, sheet: Sheet, block: Block) -> NDArray[np.object_]:
        """Station names, spaces collapsed, in the register's spelling where it has them."""
        names = read_column(block, sheet.column("station"))
        spelt: dict[str, str] = {}
        for name in dict.fromkeys(names.tolist()):
            if name is None:
                continue
            tidied = " ".join(name.split())
            if sheet is STATIONS:
                self.register.setdefault(name_key(tidied), tidied)
            spelt[name] = self.register.get(name_key(tidied), tidied)
            if sheet is AGREED and name_key(tidied) == WHOLE_FARM:
                spelt[name] = WHOLE_FARM
        out: NDArray[np.object_] = np.empty(len(names), dtype=object)
        out[:] = [spelt.get(name) for name in names.tolist()]
        return out

    def _learn_names(self, names: NDArray[np.object_], others: NDArray[np.object_]) -> None:
        """Other names of a station, unless another station is called so."""
        for name, also in zip(names.tolist(), others.tolist(), strict=True):
            for other in other_names(also) if name else ():
                self.register.setdefault(name_key(other), name)

    def _drops(self, block: Block, made: dict[str, NDArray[np.object_]]) -> None:
        """Keep a typed drop only where neither pressure is; ask where the two disagree."""
        column = READINGS.column("drop")
        alone = _stood_in(block, READINGS.column("inlet"), made)
        inlet, outlet, drop = (made[k].astype(float) for k in ("inlet", "outlet", "drop"))
        off = np.abs(inlet - outlet - drop) > DROP_ROUNDING + 0.1 * np.abs(inlet - outlet)
        for position in np.flatnonzero(off & ~alone).tolist():
            say = self.settings.shown.drop
            read = f"{say(drop[position])} beside pressures that give "
            read += say(inlet[position] - outlet[position])
            accepted = "the drop of the pressures, which was used, or an empty cell"
            block.flag("drop-differs", column, position, read, accepted)
        made["drop"] = np.where(alone, drop, np.nan)

    def _keep(
        self, sheet: Sheet, block: Block, made: dict[str, NDArray[np.object_]]
    ) -> NDArray[np.bool_]:
        """Which rows are used; flags the empty cells of those that are not.

        Empty pressures of rows that are used are found by the checks, a row at a time.
        """
        keep = np.ones(len(block.rows), dtype=bool)
        decisive = [c for c in sheet.columns if c.required and c.kind is not Kind.PRESSURE]
        for column in decisive:
            absent = np.array([value is None for value in made[column.key].tolist()], dtype=bool)
            self._flag_empty(block, column, absent & keep)
            keep &= ~absent
        return keep

    def _flag_empty(self, block: Block, column: Column, absent: NDArray[np.bool_]) -> None:
        filled = np.zeros(len(block.rows), dtype=bool)
        if column.key in block.cells:
            filled[block.positions(column.key)] = True
        for position in np.flatnonzero(absent & ~filled).tolist():
            block.flag("cell-missing", column, position, "nothing", accepted_text(column))


def _stood_in(
    block: Block, column: Column, made: dict[str, NDArray[np.object_]]
) -> NDArray[np.bool_]:
    """The rows in which the column's stand-in has a number and no pressure of the pair is typed."""
    if not column.instead:
        return np.zeros(len(block.rows), dtype=bool)
    stood: NDArray[np.bool_] = ~np.isnan(made[column.instead].astype(float))
    for key in ("inlet", "outlet"):
        if key in block.cells:
            stood[block.positions(key)] = False
    return stood


def _units_read(column: Column) -> tuple[str, ...]:
    """The units in which a column is read, for a message."""
    return units_of(column.kind) or amount_spellings(column.amount)


def _reading_order(finding: Finding) -> tuple[int, int]:
    return address(finding.cell)
