"""What people set on a sheet in a spreadsheet program: its protection, rules for what is typed."""

from __future__ import annotations

import re

from siltbook.checks.wording import listed

_PROTECTED = re.compile(rb"<(?:\w+:)?sheetProtection\b([^>]*)>")
_ON = re.compile(rb"\bsheet=[\"'](?:1|true|on)[\"']")
_RULE = re.compile(rb"<(?:\w+:)?dataValidation\b")


def is_protected(sheet: bytes | bytearray) -> bool:
    """Whether a sheet's part says that its cells are locked."""
    found = _PROTECTED.search(sheet)
    return found is not None and _ON.search(found[1]) is not None


def set_there(sheet: bytes | bytearray) -> list[str]:
    """What a person set on a result sheet, which has none of it of its own; a clause each."""
    rules = len(_RULE.findall(sheet))
    said = ["its protection"] if is_protected(sheet) else []
    if rules:
        word = "rule" if rules == 1 else "rules"
        said.append(f"{rules:,} {word} for what may be typed (data validation)")
    return said


def written_though_protected(old: bytes, new: bytes, name: str) -> str:
    """The sentence on protected sheets of a book that rows were written to; '' for none."""
    from siltbook.batch.package.opened import open_package
    from siltbook.batch.reading.workbook import open_workbook

    before, after = open_package(old, name), open_package(new, name)
    shut = [
        sheet.name
        for sheet in open_workbook(before, name).sheets
        if is_protected(was := before.whole(sheet.part))
        and after.has(sheet.part)
        and was != after.whole(sheet.part)
    ]
    if not shut:
        return ""
    what = f"sheet {shut[0]} is" if len(shut) == 1 else f"sheets {listed(shut)} are"
    return (
        f"  The {what} protected: the book was changed there all the same, and the protection"
        " stands as it was."
    )
