"""A book's findings on the terminal: of a kind that comes often, one line per station."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from siltbook.checks.findings import CATALOGUE, UNLISTED, Finding
from siltbook.checks.wording import listed

SHOWN = 4  # cells of one line
ALL = "on the sheet Findings of a run, and in --json"


def finding_lines(findings: Sequence[Finding]) -> list[str]:
    """One line each, in order; those that come often gathered where the first of them stands."""
    groups: dict[object, list[Finding]] = {}
    for place, one in enumerate(findings):
        key = (one.rule, one.station) if CATALOGUE[one.rule].often else place
        groups.setdefault(key, []).append(one)
    return [_gathered(found) if len(found) > 1 else _line(found[0]) for found in groups.values()]


def _line(one: Finding) -> str:
    return f"{one.severity} [{one.rule}] {one.message}"


def _gathered(found: Sequence[Finding]) -> str:
    rule, station = CATALOGUE[found[0].rule], found[0].station
    title = f"{rule.title[0].lower()}{rule.title[1:]}, {len(found)} times"
    named = found if len(found) <= SHOWN + 1 else found[:SHOWN]
    places = [_place(one, before) for before, one in pairwise([None, *named]) if one]
    rest = len(found) - len(places)
    if rest:
        places.append(f"{rest} more ({ALL})")
    where = f"{station}: " if station else ""
    end = f"; {UNLISTED}" if any(UNLISTED in one.accepted for one in found) else ""
    return f"{found[0].severity} [{rule.code}] {where}{title}: {listed(places)}{end}. {rule.do}"


def _place(one: Finding, before: Finding | None) -> str:
    """A finding's cell with its day; its sheet where that is another than the last one's."""
    sheet = "" if before is not None and before.sheet == one.sheet else f"{one.sheet}!"
    return f"{sheet}{one.cell}" + (f" ({one.day})" if one.day else "")
