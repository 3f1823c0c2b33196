"""The Findings sheet: what is wrong or doubtful in the data, each linked to its cell."""

from __future__ import annotations

import re
from typing import Any

from siltbook.batch.cautions import touched_for
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import kit as k
from siltbook.batch.sheets import tables
from siltbook.batch.tables.findings import FINDINGS
from siltbook.checks.findings import Finding, Severity

MOST = 5_000
WIDTH, LAST = FINDINGS.width, FINDINGS.last
_CELL = re.compile(r"[A-Z]{1,3}[1-9][0-9]{0,6}")


def write(kit: k.Kit, sheet: Any) -> None:
    """Write the Findings sheet."""
    k.heading(kit, sheet, "Findings")
    found = in_order(kit.assessment.findings)
    row = 2
    for line in (*count_lines(kit.assessment), total_line(found)):
        k.spread(sheet, row, LAST, line, kit.format("line"), WIDTH)
        row += 1
    touches = touched_for(found)
    header, _ = k.caution_lines(kit, sheet, row, (0, LAST), touches, WIDTH)
    row = tables.short(kit, sheet, header, FINDINGS, found[:MOST])
    targets, cell = _targets(kit.assessment), FINDINGS.places["cell"]
    for at, finding in enumerate(found[:MOST], header + 1):
        if finding.sheet in targets:
            link_to(kit, sheet, (at, cell), finding.sheet, finding.cell)
    if found:
        tables.filters(sheet, header, row, FINDINGS)
    row += 1
    closing = _closing(len(found))
    if closing:
        k.spread(sheet, row, LAST, closing, kit.format("strong"), WIDTH)
    tables.page(kit, sheet, FINDINGS, header)
    sheet.print_area(0, 0, row, LAST)


def in_order(found: tuple[Finding, ...]) -> list[Finding]:
    """Errors first, then doubts, then notes; within each as they were found."""
    rank = {severity: place for place, severity in enumerate(Severity)}
    return sorted(found, key=lambda finding: rank[finding.severity])


def count_lines(assessment: Assessment) -> list[str]:
    """How many rows of each list sheet were read, used and set aside, in one line."""
    parts = [
        f"{k.one_line(k.sheet_title(assessment, key))}: {n.read:,} rows read, {n.used:,} used,"
        f" {n.set_aside:,} set aside"
        for key, n in assessment.book.counts.items()
    ]
    return ["   ·   ".join(parts)] if parts else []


def total_line(found: list[Finding]) -> str:
    """How many findings of each severity there are."""
    if not found:
        return "Nothing was found: every row could be used as it stands."
    words = {Severity.ERROR: "error", Severity.DOUBT: "doubt", Severity.NOTE: "note"}
    counts = [(sum(f.severity is s for f in found), word) for s, word in words.items()]
    return ", ".join(f"{n:,} {word}{'' if n == 1 else 's'}" for n, word in counts) + "."


def _closing(total: int) -> str:
    if total <= MOST:
        return ""
    return f"{total - MOST:,} more findings are not listed here; mend these first and run again."


def _targets(assessment: Assessment) -> set[str]:
    """The sheets that a link can lead to."""
    book = assessment.book
    known = {book.farm_sheet, *(k.sheet_title(assessment, key) for key in k.LIST_KEYS)}
    return set(book.sheet_names) or known


def link_to(kit: k.Kit, sheet: Any, place: tuple[int, int], target: str, address: str) -> None:
    """Make an address a link to its cell; to the sheet's first cell where there is none."""
    cell = address if _CELL.fullmatch(address) else "A1"
    url = f"internal:{k.quoted(target)}{cell}"
    sheet.write_url(*place, url, kit.format("link"), k.one_line(address or "sheet"))
