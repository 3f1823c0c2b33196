"""Which formats a sheet asks for: the numbers of its cells, rows, columns and rules."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from siltbook.batch.package.spans import decode

_USED = re.compile(rb"""\s(s|style|dxfId)\s*=\s*["']([0-9]{1,7})["']""")


@dataclass
class Asked:
    """The numbers of cell formats and differential formats that sheets ask for."""

    cellXfs: set[int] = field(default_factory=set)  # noqa: N815 (the format's own words)
    dxfs: set[int] = field(default_factory=set)

    def look_into(self, sheet: bytes) -> None:
        """Add what one sheet, or a piece of one, asks for."""
        if sheet.startswith((b"\xff\xfe", b"\xfe\xff")):
            sheet = decode(sheet)[0].encode()
        for name, number in set(_USED.findall(sheet)):
            (self.dxfs if name == b"dxfId" else self.cellXfs).add(int(number))

    def cells(self, numbers: Iterable[str | None]) -> None:
        """Add the formats of cells as they stand in the sheet; None where a cell says none."""
        self.cellXfs.update(int(number) for number in set(numbers) if number)

    def more(self, other: Asked) -> None:
        """Add what another one holds."""
        self.cellXfs |= other.cellXfs
        self.dxfs |= other.dxfs
