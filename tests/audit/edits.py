"""Changes one cell of a workbook's package and leaves every other byte of its parts alone."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable

from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.workbook import open_workbook


def typed_over(package: bytes, sheet: str, cell: str, value: float) -> bytes:
    """The package with a number typed over the one that stands in a cell."""
    pattern = re.compile(rf'(<c r="{cell}"[^>]*>(?:<f>[^<]*</f>)?<v>)[^<]*(</v>)')
    return _changed(package, sheet, lambda xml: pattern.subn(rf"\g<1>{value!r}\g<2>", xml))


def rewritten(package: bytes, sheet: str, cell: str, formula: str, value: float | None) -> bytes:
    """The package with another formula in a cell, '' for none; None keeps the stored value."""
    pattern = re.compile(rf'(<c r="{cell}"[^>]*>)<f>[^<]*</f><v>([^<]*)</v>')
    made = f"<f>{formula}</f>" if formula else ""

    def with_value(found: re.Match[str]) -> str:
        return f"{found[1]}{made}<v>{found[2] if value is None else repr(value)}</v>"

    return _changed(package, sheet, lambda xml: pattern.subn(with_value, xml))


def marked(package: bytes, sheet: str, old: str, new: str) -> bytes:
    """The package with a piece of the sheet's texts replaced."""
    return _changed(package, sheet, lambda xml: (xml.replace(old, new), xml.count(old)))


def _changed(package: bytes, sheet: str, change: Callable[[str], tuple[str, int]]) -> bytes:
    book = open_workbook(open_package(package, "farm.xlsx"), "farm.xlsx")
    part = next(p.part for p in book.sheets if p.name == sheet)
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(package)) as old,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for item in old.infolist():
            data = old.read(item)
            if item.filename == part.lstrip("/"):
                xml, count = change(data.decode())
                assert count == 1, f"{count} changes in {sheet}"
                data = xml.encode()
            new.writestr(item.filename, data)
    return target.getvalue()
