"""The figures that charts are drawn from: a block of cells, and the charts' own copies of them.

Two hundred charts have some 150,000 points, each of them twice: too many to be handed to
XlsxWriter one by one. It gets the number of a column of them in place of its figures; the rows
come in as those of long tables do (see `rows`), and `copied` puts the figures into the charts.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain
from typing import Any

from siltbook.batch.sheets.band import Point
from siltbook.batch.sheets.rows import ROW, LongTable, line, swatch
from siltbook.templates.book import column_letters

WIDTH = 4  # columns: station, series, date, level
_NUMBERED = re.compile(r'<c:ptCount val="1"/><c:pt idx="0"><c:v>(\d+)</c:v></c:pt>')


@dataclass(frozen=True)
class _Series:
    station: str
    name: str
    days: tuple[str, ...]
    levels: tuple[str, ...]  # '' breaks the line


@dataclass
class Block:
    """The block as it grows, its first figures in `row` and `column` (0-based) of a sheet."""

    sheet: str
    row: int
    column: int
    series: list[_Series] = field(default_factory=list)
    count: int = 0

    def add(self, station: str, name: str, points: Sequence[Point]) -> dict[str, Any]:
        """Take in the points of one series of a station; where a chart finds them."""
        first, last = self.row + self.count, self.row + self.count + len(points) - 1
        days = tuple(f"{day:.16g}" for day, _ in points)
        levels = tuple("" if level is None else f"{level:.16g}" for _, level in points)
        number, days_in = 2 * len(self.series), self.column + 2
        self.series.append(_Series(station, name, days, levels))
        self.count += len(points)
        return {
            "categories": [self.sheet, first, days_in, last, days_in],
            "values": [self.sheet, first, days_in + 1, last, days_in + 1],
            "categories_data": [number],
            "values_data": [number + 1],
        }

    def table(self, sheet: Any, text: Any, date: Any) -> list[LongTable]:
        """Leave the rows to be made, in the formats of text and level and of a date."""
        if not self.count:
            return []
        swatch(sheet, self.row, (text, date))
        return [LongTable(self.row + 1, self.count, self._rows)]

    def _rows(self, styles: Sequence[str]) -> Iterator[str]:
        text, date = styles
        names, day, level = self.column, *map(column_letters, (self.column + 2, self.column + 3))
        n = self.row
        for one in self.series:
            head = line(ROW, [text] * (names + 2), [None] * names + [one.station, one.name])
            head = head[head.index(f'<c r="{column_letters(names)}{ROW}"') : -len("</row>")]
            for x, y in zip(one.days, one.levels, strict=True):
                n += 1
                named = head.replace(ROW, str(n))
                shown = f'<c r="{level}{n}" s="{text}"><v>{y}</v></c>' if y else ""
                yield f'<row r="{n}">{named}<c r="{day}{n}" s="{date}"><v>{x}</v></c>{shown}</row>'
                head = ""

    def copied(self, chart: str) -> str:
        """A chart's text with the figures of its series."""
        return _NUMBERED.sub(self._copy, chart)

    def _copy(self, found: re.Match[str]) -> str:
        which, levels = divmod(int(found[1]), 2)
        figures = self.series[which].levels if levels else self.series[which].days
        points = (
            ('<c:pt idx="', str(i), '"><c:v>', figure, "</c:v></c:pt>")
            for i, figure in enumerate(figures)
            if figure
        )
        return f'<c:ptCount val="{len(figures)}"/>' + "".join(chain.from_iterable(points))
