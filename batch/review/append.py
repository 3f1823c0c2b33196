"""Adds rows to a list of a practitioner's workbook and touches nothing else in it.

Only the sheet's own part changes, and its table's part where the table has to grow; every other
part is copied as it stands, still compressed. Inside the sheet only the new cells are written.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import re
from collections.abc import Mapping, Sequence

from siltbook.batch.graft.workbook import Target
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.spans import Document, Node, content
from siltbook.batch.reading.cells import Style, address
from siltbook.batch.sheets.kit import clean, serial
from siltbook.templates.book import Table, column_letters

Value = str | dt.date | dt.time | float
_ESCAPED = re.compile(r"_x[0-9A-Fa-f]{4}_")
_REPAIR = "open it in a spreadsheet program, save it and run again; nothing was changed."


def append_rows(
    book: bytes, table: Table, rows: Sequence[Mapping[str, Value]], styles: Sequence[int],
    struck: frozenset[int] = frozenset(),
) -> tuple[bytes, list[int]]:  # fmt: skip
    """The book with `rows` (column key -> value) behind the last row of `table`; their numbers.

    `styles` gives the `Style` of each cell format of the book, `struck` the formats with a line
    through the text, which no new row takes over from the last one. GraftError, one sentence, where
    the sheet cannot take them; the input is never changed.
    """
    target = Target(book)
    _refuse_signed(target)
    return _Appending(target, table, styles, struck).run(rows)


def change_cells(
    book: bytes,
    table: Table,
    changes: Mapping[int, Mapping[str, Value | None]],
    styles: Sequence[int],
) -> bytes:
    """The book with other values in cells of `table` (row -> column key -> value; None empties).

    GraftError and `styles` as for `append_rows`.
    """
    target = Target(book)
    _refuse_signed(target)
    return _Appending(target, table, styles).change(changes)


def _refuse_signed(target: Target) -> None:
    if any(part.startswith("_xmlsignatures/") for part in target.package.parts):
        raise GraftError(
            "The book carries a digital signature, which a change would break: type the rows "
            "into a copy without it; nothing was changed."
        )


class _Appending:
    """One addition of rows to one sheet."""

    def __init__(
        self, book: Target, table: Table, styles: Sequence[int],
        struck: frozenset[int] = frozenset(),
    ) -> None:  # fmt: skip
        self.package, self.table, self.styles = book.package, table, styles
        self.struck = {str(style) for style in struck}
        relation = book.target(book.by_name()[table.sheet.casefold()])
        if relation is None:
            raise GraftError(f"The sheet {table.sheet} has no part of its own; {_REPAIR}")
        self.part = relation.target
        self.sheet = Document(self.package.read(self.part), self.part)
        data = self.sheet.root.child("sheetData")
        if data is None:
            raise GraftError(f"The sheet {table.sheet} holds no rows; {_REPAIR}")
        self.data: Node = data
        self.date1904 = _counts_from_1904(book)
        self.rows = self._numbered()

    def run(self, rows: Sequence[Mapping[str, Value]]) -> tuple[bytes, list[int]]:
        last = self._last_used()
        numbers = [last + 1 + n for n in range(len(rows))]
        self._refuse_merged(numbers)
        looks = self._looks(last)
        for number, row in zip(numbers, rows, strict=True):
            cells = {
                self.table.places[key]: self._cell(key, number, value, looks)
                for key, value in row.items()
            }
            self._place(number, cells)
        self._stretch_dimension(numbers[-1])
        self._grow_table(numbers[-1])
        self.package.put(self.part, self.sheet.encoded())
        return self.package.save(), numbers

    def change(self, changes: Mapping[int, Mapping[str, Value | None]]) -> bytes:
        looks = self._looks(self.table.header_row)
        self._refuse_merged(list(changes))
        for number, row in sorted(changes.items()):
            cells = {}
            for key, value in row.items():
                place = self.table.places[key]
                style = _style_at(self.rows.get(number), place) or looks[key]
                blank = f'<{self.data.prefix}c r="{column_letters(place)}{number}"' + (
                    f' s="{style}"/>' if style else "/>"
                )
                cells[place] = blank if value is None else self._cell(key, number, value, looks)
            self._place(number, cells)
        self.package.put(self.part, self.sheet.encoded())
        return self.package.save()

    def _numbered(self) -> dict[int, Node]:
        """Row number -> element; GraftError where the sheet leaves the numbers out."""
        found: dict[int, Node] = {}
        for node in self.data.named("row"):
            addressed = all("r" in cell.attrs for cell in node.named("c"))
            if not node.number("r") or not addressed:
                raise GraftError(
                    f"The sheet {self.table.sheet} does not number its cells; {_REPAIR}"
                )
            found[node.number("r")] = node
        return found

    def _last_used(self) -> int:
        """The last row with anything in a column of the list; the header's where there is none."""
        wanted = set(self.table.places.values())
        return max(
            (
                number
                for number, node in self.rows.items()
                if number > self.table.header_row
                for cell in node.named("c")
                if cell.children and address(cell.attrs["r"])[1] in wanted
            ),
            default=self.table.header_row,
        )

    def _refuse_merged(self, numbers: Sequence[int]) -> None:
        merged = self.sheet.root.child("mergeCells")
        for node in merged.named("mergeCell") if merged else []:
            ref = node.attrs.get("ref", "")
            first, _, last = ref.partition(":")
            top, bottom = self._row(first), self._row(last or first)
            if any(top <= number <= bottom for number in numbers):
                raise GraftError(
                    f"{self.table.sheet}!{ref} is merged where the new rows belong; unmerge it "
                    "and run again; nothing was changed."
                )

    def _row(self, ref: str) -> int:
        """The row of an address in the sheet; GraftError where it is none."""
        try:
            return address(ref)[0]
        except ValueError as error:
            raise GraftError(
                f"The sheet {self.table.sheet} speaks of a cell {ref[:40]!r}, which is none; "
                f"{_REPAIR}"
            ) from error

    def _looks(self, last: int) -> dict[str, str]:
        """Cell format of each column: that of the last row that is not struck through, else the
        column's own, else none."""
        cols = self.sheet.root.child("cols")
        spans = [
            (c.number("min") - 1, c.number("max") - 1, c.attrs.get("style", ""))
            for c in (cols.named("col") if cols else [])
        ]
        found = {}
        for key, place in self.table.places.items():
            own = next((s for low, high, s in spans if low <= place <= high), "")
            found[key] = self._style_above(last, place) or own
        return found

    def _style_above(self, last: int, place: int) -> str:
        """The format of a column's cell in the last row, or above it where that one is struck."""
        for row in range(last, self.table.header_row, -1):
            style = _style_at(self.rows.get(row), place)
            if style not in self.struck:
                return style
        return ""

    def _cell(self, key: str, row: int, value: Value, looks: Mapping[str, str]) -> str:
        """One cell's element; a date is a number only where the format shows it as a date."""
        place, p = self.table.places[key], self.data.prefix
        style = _style_at(self.rows.get(row), place) or looks[key]
        head = f'<{p}c r="{column_letters(place)}{row}"' + (f' s="{style}"' if style else "")
        shows_dates = style.isdecimal() and int(style) < len(self.styles)
        if isinstance(value, dt.date):
            if shows_dates and self.styles[int(style)] == Style.DATE:
                number = int(serial(value, date1904=self.date1904))
                return f"{head}><{p}v>{number}</{p}v></{p}c>"
            value = value.isoformat()
        if isinstance(value, dt.time):
            value = value.replace(microsecond=0)
            if shows_dates and self.styles[int(style)] == Style.DATE:
                seconds = value.hour * 3600 + value.minute * 60 + value.second
                return f"{head}><{p}v>{seconds / 86_400!r}</{p}v></{p}c>"
            value = value.isoformat("seconds" if value.second else "minutes")
        if isinstance(value, (int, float)):
            return f"{head}><{p}v>{value!r}</{p}v></{p}c>"
        # Text of the shape _x0041_ would be taken for an escaped character.
        text = _ESCAPED.sub(lambda m: f"_x005F{m[0]}", clean(value))
        return (
            f'{head} t="inlineStr"><{p}is><{p}t xml:space="preserve">{content(text)}</{p}t>'
            f"</{p}is></{p}c>"
        )

    def _place(self, number: int, cells: Mapping[int, str]) -> None:
        """Put cells into their row: in place of blank ones, in order of columns."""
        row, p = self.rows.get(number), self.data.prefix
        if row is None:
            xml = "".join(cells[col] for col in sorted(cells))
            self._insert_row(number, f'<{p}row r="{number}">{xml}</{p}row>')
            return
        there = {address(cell.attrs["r"])[1]: cell for cell in row.named("c")}
        behind = ""
        for col in sorted(cells):
            follower = next((there[c] for c in sorted(there) if c > col), None)
            if col in there:
                self.sheet.replace(there[col].start, there[col].end, cells[col])
            elif follower is not None:
                self.sheet.replace(follower.start, follower.start, cells[col])
            else:
                behind += cells[col]
        if behind:
            self.sheet.append(row, behind)

    def _insert_row(self, number: int, xml: str) -> None:
        follower = min((n for n in self.rows if n > number), default=None)
        if follower is None:
            self.sheet.append(self.data, xml)
        else:
            at = self.rows[follower].start
            self.sheet.replace(at, at, xml)

    def _stretch_dimension(self, last: int) -> None:
        node = self.sheet.root.child("dimension")
        ref = node.attrs.get("ref", "") if node else ""
        if node and ":" in ref:
            with contextlib.suppress(ValueError):  # a hint for programs; a senseless one stays
                self.sheet.set_attribute(node, "ref", _reaching(ref, last, self.table))

    def _grow_table(self, last: int) -> None:
        """Let the sheet's table reach the last new row."""
        for relation in self.package.relations(self.part):
            if relation.kind != "table":
                continue
            document = Document(self.package.read(relation.target), relation.target)
            root = document.root
            first, _, end = root.attrs.get("ref", "").partition(":")
            if not end or self._row(first) != self.table.header_row:
                continue
            if root.number("totalsRowCount"):
                raise GraftError(
                    f"The list on the sheet {self.table.sheet} ends in a row of totals; take that "
                    "row off and run again; nothing was changed."
                )
            if self._row(end) >= last:
                continue
            grown = f"{first}:{end.rstrip('0123456789')}{last}"
            for node in (root, *root.named("autoFilter")):
                document.set_attribute(node, "ref", grown)
            self.package.put(relation.target, document.encoded())


def _counts_from_1904(book: Target) -> bool:
    properties = book.document.root.child("workbookPr")
    return properties is not None and properties.attrs.get("date1904", "") in ("1", "true")


def _style_at(row: Node | None, place: int) -> str:
    cells = row.named("c") if row else []
    return next((c.attrs.get("s", "") for c in cells if address(c.attrs["r"])[1] == place), "")


def _reaching(ref: str, last: int, table: Table) -> str:
    """A range stretched to a row and to the list's last column."""
    first, _, end = ref.partition(":")
    row, col = address(end)
    return f"{first}:{column_letters(max(col, *table.places.values()))}{max(row, last)}"
