"""In which unit each cell was typed: the farm's, its station's, its gauge's of that day."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from siltbook.batch.reading.amounts import UNREADABLE
from siltbook.templates.contract import Kind

if TYPE_CHECKING:
    import datetime as dt

    from numpy.typing import NDArray

    from siltbook.batch.reading.columns import Block


class TypedUnits:
    """Learns from the register and from *Gauges*, then answers for the other lists.

    `pressure` and `flow` are the farm's units, or UNREADABLE where the setting is not understood:
    then no figure that leans on it is read.
    """

    def __init__(self, pressure: str, flow: str) -> None:
        self.pressure = pressure
        self.flow = flow
        self.station: dict[str, str] = {}
        self.changed: dict[str, list[tuple[dt.date, str]]] = {}  # in order of time

    def learn_register(
        self, block: Block, names: NDArray[np.object_], units: NDArray[np.object_]
    ) -> None:
        """The unit of each station; of a station that is listed twice the first row counts."""
        typed = _typed_rows(block)
        for position, (name, unit) in enumerate(zip(names.tolist(), units.tolist(), strict=True)):
            if name is not None:
                other = UNREADABLE if position in typed else self.pressure
                self.station.setdefault(name, other if unit is None else unit)

    def learn_changes(
        self,
        block: Block,
        names: NDArray[np.object_],
        days: NDArray[np.object_],
        units: NDArray[np.object_],
    ) -> None:
        """The units of changed gauges; of two rows for one station and day the first counts."""
        typed = _typed_rows(block)
        found: dict[str, dict[dt.date, str | None]] = {}
        for position, (name, day, unit) in enumerate(
            zip(names.tolist(), days.tolist(), units.tolist(), strict=True)
        ):
            if name is not None and day is not None:
                said = UNREADABLE if unit is None and position in typed else unit
                found.setdefault(name, {}).setdefault(day, said)
        for name, own in found.items():
            self.changed[name] = [(day, unit) for day, unit in sorted(own.items()) if unit]

    def of_rows(
        self, names: NDArray[np.object_], days: NDArray[np.object_] | None = None
    ) -> NDArray[np.object_]:
        """The unit of each row's pressures, shape (rows,): its station's, on its day if given."""
        out: NDArray[np.object_] = np.empty(len(names), dtype=object)
        out[:] = [self.station.get(name, self.pressure) for name in names.tolist()]
        if days is not None and self.changed:
            for position, (name, day) in enumerate(zip(names.tolist(), days.tolist(), strict=True)):
                for since, unit in self.changed.get(name, ()):
                    if day is not None and since <= day:
                        out[position] = unit
        return out

    def of_kind(self, kind: Kind, row_units: NDArray[np.object_]) -> str | NDArray[np.object_]:
        """The unit in which a column of this kind is typed where its header names none."""
        if kind is Kind.PRESSURE:
            return row_units
        if kind is Kind.FLOW:
            return self.flow
        return "m" if kind is Kind.METRES else ""


def _typed_rows(block: Block) -> set[int]:
    """The positions of the rows whose unit was typed, readable or not, or where nobody looks."""
    typed = set(block.positions("unit").tolist()) if "unit" in block.cells else set()
    lost = [row for row, said in block.lost.items() if "unit" in dict(said)]
    return typed | set(np.flatnonzero(np.isin(block.rows, lost)).tolist())
