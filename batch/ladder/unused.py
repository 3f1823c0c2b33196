"""Rows, signs and numbers of a station that could not be used: its sentence names them."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable

from siltbook.batch.reading.unread import NOT_READ, USED
from siltbook.checks.findings import Finding
from siltbook.templates.book import Book, Table, column_letters
from siltbook.templates.contract import CARRIED, CHANGED_GAUGES, READINGS, STATIONS, WORK, Sheet

_UNREAD = (
    "cell-not-date", "cell-ambiguous-date", "cell-not-choice", "cell-error", "cell-no-value",
    "cell-missing", "date-ahead", "cell-not-number", "cell-ambiguous-number",
    "cell-looks-like-date", "date-out-of-bounds", "cell-merged",
)  # fmt: skip
_EMPTY, _FARMS = "it counts as blank", "the farm's limit is used"
_BLANK, _NONE = "the sign counts as blank", "a flush counts as one without it"
_DECISIVE = {
    READINGS.name: {"date": "not used", "occasion": "taken as routine"},
    WORK.name: {
        "date": "not used", "work": "not used", "click": _BLANK, "water_heard": _BLANK,
        "water": _BLANK, "cycles": _EMPTY, "flush_inlet": _EMPTY,
    },
    STATIONS.name: {
        "drop_limit": _FARMS, "clean_drop": _EMPTY, "working_inlet": _EMPTY,
        "wanted_field": _EMPTY, "reference_flow": _EMPTY,
    },
    CHANGED_GAUGES.name: {
        "since": "not used", "gauges": "taken as before", "full_scale": _EMPTY,
        "gauge_class": _EMPTY, "division": _EMPTY, "unit": "its readings are not used",
    },
    CARRIED.name: {
        "step": "taken as clear", "gear": "taken as solenoid suspect",
        **dict.fromkeys(("flushed", "cleaned", "failed", "solenoid", "controller", "called",
                         "supply", "opened"), _EMPTY),
    },
}  # fmt: skip
MOST = 2  # rows named in one sentence


def unused_rows(book: Book, findings: Iterable[Finding]) -> dict[str, str]:
    """Station -> the sentence on its rows that could not be used, with a space in front."""
    lists = (
        (STATIONS, book.stations), (READINGS, book.readings), (WORK, book.work),
        (CHANGED_GAUGES, book.gauges), (CARRIED, book.carried),
    )  # fmt: skip
    tables = {table.sheet: (sheet, table) for sheet, table in lists}
    clauses: dict[str, list[str]] = defaultdict(list)
    beyond: dict[str, list[str]] = defaultdict(list)
    struck: dict[str, list[str]] = defaultdict(list)
    kept: dict[str, list[str]] = defaultdict(list)  # struck through, and used all the same
    for finding in findings:
        if not finding.station or finding.sheet not in tables:
            continue
        if finding.rule == "value-out-of-bounds":
            beyond[finding.station] += filter(None, [_clause(finding, *tables[finding.sheet])])
        if finding.rule in _UNREAD and (said := _clause(finding, *tables[finding.sheet])):
            clauses[finding.station].append(said)
        if finding.rule == "cell-struck":
            told = kept if finding.read.endswith(USED) else struck
            told[finding.station].append(f"{finding.sheet} row {_row(finding)}")
    return {
        name: _sentence("Could not be read", clauses[name])
        + _sentence("Outside what is possible", beyond[name])
        + _sentence("Struck through and not used", struck[name])
        + _sentence("Struck through and used all the same", kept[name])
        for name in {**clauses, **beyond, **struck, **kept}
    }


def _row(finding: Finding) -> str:
    return finding.cell.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")


def _clause(finding: Finding, sheet: Sheet, table: Table) -> str:
    found = re.fullmatch(r"([A-Z]+)([0-9]+)", finding.cell)
    keys = {column_letters(place): key for key, place in table.places.items()}
    key = keys.get(found[1], "") if found else ""
    what = _DECISIVE[sheet.name].get(key)
    blank = finding.read.strip("'").casefold() in NOT_READ  # a dash says that nothing was read
    if found is None or what is None or (what in (_EMPTY, _FARMS) and blank):
        return ""
    if sheet is WORK and key in dict(table.unread.get(int(found[2]), ())):
        what = _NONE
    header = sheet.column(key).header.removesuffix(" (m)")
    return f"{table.sheet} row {found[2]}, {header} {finding.read}: {what}"


def _sentence(what: str, clauses: list[str]) -> str:
    if not clauses:
        return ""
    rest = len(clauses) - MOST
    more = f"; and {rest} more, on the sheet Findings" if rest > 0 else ""
    return f" {what}: {'; '.join(clauses[:MOST])}{more}."
