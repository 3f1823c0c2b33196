"""Cross-row rules about the register: who is in it, twice, or not at all."""

from __future__ import annotations

from functools import lru_cache

from siltbook.checks.context import JoinedBook, finding
from siltbook.checks.findings import Finding, find
from siltbook.checks.scripts import (
    by_looks,
    letter_that_differs,
    look_alike,
    looks,
    skeleton,
)
from siltbook.checks.wording import rows_named
from siltbook.templates.book import USUAL_LIMIT
from siltbook.templates.contract import WHOLE_FARM

NAMES_SHOWN = 6
NEAR, CLEARLY = 75.0, 5.0  # likeness of a name that is offered, and its lead over the next
# Limits [m] beyond which another unit is likelier; published triggers lie between 2 and 5 m.
LEAST_LIMIT, MOST_LIMIT = 1.0, 15.0
HIGH_SHARE = 0.7  # of the limit; above it a clean element has hardly room to foul


def station_unknown(joined: JoinedBook) -> list[Finding]:
    """Names on the other lists that the register does not have.

    Case and spacing do not count. One finding per name and sheet, at its first row, naming
    the other rows. Rows without a name are left to the schema. An agreed action may be for
    the whole farm.
    """
    register = joined.stations.values
    names_known = [str(name) for name in register["name"][register["known"]].tolist()]
    names = names_known[:NAMES_SHOWN]
    seen, known = by_looks(names_known), tuple(sorted(names_known))
    more = ", …" if len(names_known) > NAMES_SHOWN else ""
    accepted = f"a station of the sheet {joined.book.stations.sheet}"
    accepted += f" ({', '.join(names)}{more})" if names else ", which names none"
    found = []
    for place in (joined.readings, joined.work, joined.agreed, joined.gauges, joined.carried):
        strange = place.there("key") & ~place.values["known"]
        if not strange.any():
            continue
        strangers = place.frame[strange]
        if place is joined.agreed:
            strangers = strangers[strangers["station"] != WHOLE_FARM]
        for _, group in strangers.groupby("key", sort=False):
            first, *others = (int(row) for row in group.index)
            also = f" (also in {rows_named(others)})" if others else ""
            name = str(group["station"].iloc[0])
            meant = _meant(name, known, seen)
            read = f'"{name}"{also}'
            found.append(
                finding(place, "station-unknown", "station", first, read, f"{accepted}{meant}")
            )
    return found


def _meant(name: str, known: tuple[str, ...], seen: dict[str, str]) -> str:
    """The registered name that a person may have meant, as a sentence asks for it."""
    twin = look_alike(name, seen)
    if twin:
        its, ours = letter_that_differs(name, twin)
        return f" (did you mean '{twin}'? It looks the same and has {ours} where this has {its})"
    near = near_name(name, known)
    return f" (did you mean '{near}'?)" if near else ""


@lru_cache(maxsize=4096)  # asked for the finding and for the station that may have been meant
def near_name(name: str, known: tuple[str, ...]) -> str:
    """The one of the known names, sorted, that comes near; empty where none does, or two do alike.

    One that looks the same in letters of another script, or is the same but for accents, signs,
    leading zeros and the script of its digits, is near however short it is. Else likeness is the
    normalised edit similarity from 0 to 100 (insertions and deletions, case left out); the
    thresholds are choices of this program.
    """
    from rapidfuzz import fuzz, process

    twins = [one for one in known if looks(one) & looks(name)]
    bare = skeleton(name)
    twins = twins or [one for one in known if bare and skeleton(one) == bare]
    if twins:
        return twins[0] if len(twins) == 1 else ""
    found = process.extract(
        name, known, scorer=fuzz.ratio, processor=str.casefold, score_cutoff=NEAR, limit=2
    )
    if not found or (len(found) == 2 and found[0][1] - found[1][1] < CLEARLY):
        return ""
    return str(found[0][0])


def station_repeated(joined: JoinedBook) -> list[Finding]:
    """A station with a second row in the register; case and spacing do not count.

    Every row after the first gives a finding; the first row is the one that is used.
    """
    place = joined.stations
    firsts: dict[str, int] = {}
    found = []
    for row, key in zip(place.rows.tolist(), place.values["key"].tolist(), strict=True):
        if key is None or (first := firsts.setdefault(key, row)) == row:
            continue
        read = f"{joined.read(place, 'station', row)}, in row {first} already"
        accepted = f"each station once; row {first} was used"
        found.append(finding(place, "station-repeated", "station", row, read, accepted))
    return found


def station_look_alike(joined: JoinedBook) -> list[Finding]:
    """Two stations of the register whose names look the same in letters of different scripts.

    Every later row gives a doubt that names the first. Both are judged, each by the rows that
    are written as it is.
    """
    place = joined.stations
    columns = (place.rows, place.values["station"], place.values["key"])
    names, keys = {}, set()
    for row, name, key in zip(*(column.tolist() for column in columns), strict=True):
        if key is not None and key not in keys:
            keys.add(key)
            names[row] = str(name)
    if all(name.isascii() for name in names.values()):
        return []
    rows: dict[str, int] = {}
    found = []
    for row, name in names.items():
        seen = sorted(looks(name))
        twin = next((rows[look] for look in seen if look in rows), None)
        for look in seen:
            rows.setdefault(look, row)
        if twin is None:
            continue
        its, first = letter_that_differs(name, names[twin])
        read = f"{joined.read(place, 'station', row)}, with {its}, beside row {twin}, with {first}"
        accepted = "names that a person can tell apart"
        found.append(finding(place, "station-look-alike", "station", row, read, accepted))
    return found


def clean_drop_high(joined: JoinedBook) -> list[Finding]:
    """A clean drop above 70 % of the station's limit, else of the farm's limit [m].

    Exactly 70 % is accepted; without a clean drop there is nothing to ask.
    """
    import numpy as np

    place = joined.stations
    limit = np.where(
        place.there("drop_limit"), place.values["drop_limit"], joined.book.settings.drop_limit
    )
    most, say = HIGH_SHARE * limit, joined.shown.exact
    found = []
    for row in place.hits(place.values["clean_drop"] > most + 1e-9):
        own, high = (float(column[place.places[row]]) for column in (limit, most))
        read = f"{joined.read(place, 'clean_drop', row)} at a limit of {say(own)}"
        accepted = f"up to {say(high)}"
        found.append(finding(place, "clean-drop-high", "clean_drop", row, read, accepted))
    return found


def limit_odd(joined: JoinedBook) -> list[Finding]:
    """A drop limit under 1 m or over 15 m, of the farm or of a station: its unit is in doubt.

    0.5 or 50, meant in bar or kPa, are such limits in metres. Values out of bounds have a finding
    of their own.
    """
    place, book, say = joined.stations, joined.book, joined.shown
    accepted = f"as a rule {say.exact(LEAST_LIMIT)} to {say.exact(MOST_LIMIT)};"
    accepted += f" a filter usually counts as clogged at {say.exact(USUAL_LIMIT)}"
    found = []
    farms, cell = book.settings.drop_limit, book.setting_cells.get("drop_limit")
    if cell and not LEAST_LIMIT <= farms <= MOST_LIMIT:
        read = say.exact(farms)
        found.append(
            find("limit-odd", sheet=book.farm_sheet, cell=cell, read=read, accepted=accepted)
        )
    limits = place.values["drop_limit"]
    for row in place.hits((limits < LEAST_LIMIT) | (limits > MOST_LIMIT)):
        read = joined.read(place, "drop_limit", row)
        found.append(finding(place, "limit-odd", "drop_limit", row, read, accepted))
    return found


RULES = (station_unknown, station_repeated, station_look_alike, clean_drop_high, limit_odd)
