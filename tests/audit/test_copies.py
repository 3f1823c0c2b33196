"""A book against an earlier copy or a pack, on rows as they are: each neighbour of a difference."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import pytest

from siltbook.batch.audit.against import _same, against, shown
from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.witness import Limit, Witness, _date, _metres, _of, _title
from siltbook.batch.merging.sides import Entry, Side, key_of
from siltbook.templates.contract import LISTS, WORK
from tests.audit.farm import open_places
from tests.checks.builders import Row, book, job, reading

NAMES = ("Alder", "Birch", "Cedar")


def side(readings: Sequence[Row] = (), work: Sequence[Row] = (),
         stations: Sequence[Row] = (), **settings: object) -> Side:  # fmt: skip
    """A book in metres as its rows say it."""
    one = book(list(readings), work=list(work), pressure_unit="m",
               stations=[{"station": name} for name in NAMES] if not stations else list(stations),
               **settings)  # fmt: skip
    entries = {}
    for sheet in LISTS:
        table = one.lists()[sheet.name]
        rows: dict[int, Row] = {}
        for key, cells in table.raw.items():
            for row, value in cells.items():
                rows.setdefault(row, {})[key] = value
        entries[sheet.name] = tuple(
            Entry(sheet.name, row, cells, key_of(sheet, cells)) for row, cells in rows.items()
        )
    return Side("farm.xlsx", one, entries, one.lists(), {})


def asked(now: Side, *witnesses: Witness | Side) -> dict[str, RuleResult]:
    given = [Witness("may.xlsx", w) if isinstance(w, Side) else w for w in witnesses]
    return {r.rule.code: r for r in against(now, given)}


def said(result: RuleResult) -> list[str]:
    return [place.said for place in open_places(result)]


def at(name: str, day: int, inlet: float = 30.0, **more: object) -> Row:
    return reading(day, inlet, inlet - 2, station=name, **more)


def work_at(name: str, day: int, kind: str = "flush", **more: object) -> Row:
    return job(day, kind, station=name, **more)


ROWS = [at("Birch", 4, 31.0), at("Alder", 5, 32.0), at("Birch", 6, 33.0), at("Cedar", 6, 34.0),
        at("Birch", 9, 35.0)]  # fmt: skip


# Rows that are gone.


@pytest.mark.parametrize(
    ("gone", "cell"),
    [
        (at("Birch", 7, 40.0), "B4"),  # behind the sixth of May of the same station
        (at("Birch", 6, 40.0, occasion="after flush"), "B4"),
        (at("Birch", 30, 40.0), "B6"),
        (at("Birch", 3, 40.0), "B1"),  # before all: the header
        (at("Alder", 7, 40.0), "B3"), (at("Cedar", 5, 40.0), "B1"), (at("Cedar", 7, 40.0), "B5"),
    ],
)  # fmt: skip
def test_a_row_that_is_gone_is_said_where_it_would_stand(gone: Row, cell: str) -> None:
    found = asked(side(ROWS), side([*ROWS, gone]))["witness-rows"]
    (place,) = open_places(found)
    assert (place.sheet, place.cell) == ("Readings", cell)
    day = gone["date"]
    assert place.said == (
        f"{gone['station']}, {day}: a reading (inlet 40, outlet 38) stands in may.xlsx,"
        " Readings!7:7, and not in the book"
    )
    assert (found.kept, found.of) == (5, 6)


def test_a_failed_flush_stands_before_other_rows_that_are_gone_and_these_before_changes() -> None:
    kept, rows = [at("Alder", 5)], [at("Alder", 5, 33.0), at("Birch", 4)]
    work = [work_at("Alder", 6), work_at("Birch", 6, click="no"), work_at("Cedar", 6, water="no")]
    found = asked(side(kept), side(rows, work))["witness-rows"]
    assert [place.said.split(" stands")[0].split(" is ")[0] for place in open_places(found)] == [
        "Birch, 2026-05-06: 'flush' without a click",
        "Cedar, 2026-05-06: 'flush' without water at the outlet",
        "Birch, 2026-05-04: a reading (inlet 30, outlet 28)",
        "Alder, 2026-05-06: 'flush'",
        "Alder, 2026-05-05: Inlet pressure",
        "Alder, 2026-05-05: Outlet pressure",
    ]
    assert found.said.startswith("6 entries; the first: Birch, 2026-05-06: 'flush' without")


def test_a_row_on_another_day_is_moved_and_the_nearest_of_two_is_taken() -> None:
    now = [at("Birch", 20, 40.0), at("Birch", 8, 40.0), at("Alder", 7, 40.0)]
    (one,) = said(asked(side(now), side([at("Birch", 7, 40.0)]))["witness-rows"])
    assert one == (
        "Birch, 2026-05-07: a reading (inlet 40, outlet 38) has another day or time than in"
        " may.xlsx, Readings!2:2: date 2026-05-07 → 2026-05-08"
    )
    other = asked(side([at("Birch", 8, 41.0)]), side([at("Birch", 7, 40.0)]))["witness-rows"]
    assert said(other)[0].endswith(", and not in the book")
    work = asked(side([], [work_at("Birch", 8, "hand cleaning", gauge_zero="yes")]),
                 side([], [work_at("Birch", 7, "screen replaced", gauge_zero="yes")]))  # fmt: skip
    assert said(work["witness-rows"])[0].endswith(", and not in the book")


def test_one_row_of_the_book_stands_for_one_row_of_the_copy() -> None:
    found = asked(side([at("Birch", 8, 40.0)]), side([at("Birch", 7, 40.0), at("Birch", 6, 40.0)]))
    first, second = said(found["witness-rows"])
    assert first.endswith("and not in the book")
    assert "date 2026-05-07 → 2026-05-08" in second
    assert found["witness-rows"].kept == 0


# Values.


@pytest.mark.parametrize(
    ("now", "was", "same"),
    [
        (30.0, 30.00002, True), (30.0, 30.00005, False), (0.0, 9e-10, True), (0.0, 2e-9, False),
        (-30.0, -30.00002, True), ("a", "a", True), ("a", "b", False), (None, 0.0, False),
    ],
)  # fmt: skip
def test_the_last_digits_of_a_conversion_are_no_change(
    now: object, was: object, same: bool
) -> None:
    assert _same(now, was) is same


def test_a_changed_value_is_said_with_both_and_a_filled_one_is_for_the_record() -> None:
    now = [at("Alder", 5, 30.0, flow=20.0), at("Birch", 5, 31.0)]
    was = [at("Alder", 5, 30.0), at("Birch", 5, 30.0)]
    found = asked(side(now), side(was))["witness-rows"]
    assert [(place.said, place.holds, place.cell) for place in found.places] == [
        ("Birch, 2026-05-05: Inlet pressure is 31; 30 in may.xlsx, Readings!3:3", False, "D3"),
        ("Birch, 2026-05-05: Outlet pressure is 29; 28 in may.xlsx, Readings!3:3", False, "E3"),
        ("Alder, 2026-05-05: Flow is 20; empty in may.xlsx, Readings!2:2", True, "F2"),
    ]
    assert (found.kept, found.of) == (1, 2)


def test_a_flush_whose_signs_were_filled_in_later_is_to_be_looked_at() -> None:
    now, was = work_at("Alder", 5), {**work_at("Alder", 5), "water": None}
    found = asked(side([], [now]), side([], [was]))["witness-rows"]
    assert said(found) == [
        "Alder, 2026-05-05: Water at outlet is yes; empty in may.xlsx, Work done!2:2"
    ]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (None, "empty"), ("", "empty"), (30.0, "30"), (1.2345678, "1.23457"), ("yes", "yes"),
        (dt.time(7, 5), "07:05"), (dt.date(2026, 5, 4), "2026-05-04"), (3, "3"),
    ],
)  # fmt: skip
def test_cells_as_a_person_reads_them(value: object, words: str) -> None:
    assert shown(value) == words


# Rules.


def test_settings_and_gauges_of_the_copy_are_said() -> None:
    now = side(stations=[{"station": "Alder", "full_scale": 60.0}], interval=7.0, flush_cycles=3)
    was = side(stations=[{"station": "Alder", "full_scale": 100.0}, {"station": "Birch"}],
               interval=3.0, flush_cycles=2)  # fmt: skip
    found = asked(now, was)["witness-rules"]
    assert said(found) == [
        "Flush cycles is 3; 2 in may.xlsx",
        "Reading interval is 7 days; 3 days in may.xlsx",
        "Alder: Gauge full scale is 60; 100 in may.xlsx, Stations!2:2",
        "Birch: stands in may.xlsx, Stations!3:3, and not in the book",
    ]
    assert found.said.startswith("4 rules differ; the first: Flush cycles is 3")
    same = asked(was, was)["witness-rules"]
    assert same.said == "Limits, units, intervals and gauges are those of may.xlsx."


def test_what_is_no_witness_is_said_and_takes_the_reassurance_away() -> None:
    stranger = Witness("other.xlsx", why_not="it has no station in common with the book")
    alone = asked(side(ROWS), stranger)["witness-rows"]
    why = "other.xlsx is no witness: it has no station in common with the book."
    assert (alone.state, alone.said) == (State.CANNOT, why)
    both = asked(side(ROWS), side(ROWS), stranger)["witness-rows"]
    kept = "All 5 rows of may.xlsx stand in the book with the same values."
    assert (both.state, both.said) == (State.CANNOT, f"{kept} {why}")
    gone = asked(side(ROWS[1:]), side(ROWS), stranger)["witness-rows"]
    assert gone.state is State.LOOK
    assert gone.said.endswith(f". {why}")


# Packs.


def pack(*flushes: Row, limits: Sequence[Limit] = (), shows: str = "click water cycles") -> Witness:
    entries, places = [], {}
    for row, cells in enumerate(flushes, 5):
        filled = {k: v for k, v in cells.items() if v is not None}
        entries.append(Entry(WORK.name, row, filled, key_of(WORK, filled)))
        places[row] = f"Flushes!{row}:{row}"
    return Witness("pack.xlsx", None, tuple(entries), places, tuple(limits),
                   frozenset(shows.split()))  # fmt: skip


def test_a_pack_s_flushes_are_found_whatever_their_time_and_compared_in_what_it_shows() -> None:
    book_has = side([], [work_at("Alder", 5, time=dt.time(7, 0)), work_at("Birch", 6)])
    same = asked(book_has, pack(work_at("Alder", 5), work_at("Birch", 6)))["witness-rows"]
    assert same.said == "All 2 rows of pack.xlsx stand in the book with the same values."
    other = pack(work_at("Alder", 5, water="no", cycles=2), work_at("Cedar", 6, water="no"))
    found = asked(book_has, other)["witness-rows"]
    assert said(found) == [
        "Cedar, 2026-05-06: 'flush' without water at the outlet stands in pack.xlsx, Flushes!6:6,"
        " and not in the book",
        "Alder, 2026-05-05: Cycles is 3; 2 in pack.xlsx, Flushes!5:5",
        "Alder, 2026-05-05: Water at outlet is yes; no in pack.xlsx, Flushes!5:5",
    ]
    assert (found.kept, found.of) == (0, 2)
    blind = asked(book_has, replace(pack(work_at("Alder", 5, water="no")), shows=frozenset()))
    assert blind["witness-rows"].state is State.QUIET


def test_a_pack_s_limits_are_the_book_s_own_or_the_farm_s() -> None:
    now = side(stations=[{"station": "Alder", "drop_limit": 9.0}, {"station": "Birch"}])
    limits = [Limit("Alder", 5.0, "Episodes!5:5"), Limit("Birch", 5.0, "Episodes!6:6"),
              Limit("Gone", 7.0, "Episodes!7:7")]  # fmt: skip
    found = asked(now, pack(limits=limits))["witness-rules"]
    assert said(found) == ["Alder: the limit is 9 m; 5 m in pack.xlsx, Episodes!5:5"]
    assert found.places[0].cell == now.book.stations.cell("drop_limit", 2)


def test_headers_units_and_days_of_a_pack() -> None:
    assert _title("Lowest inlet (bar)") == ("Lowest inlet", pytest.approx(10.1972, abs=1e-4))
    assert _title("Lowest inlet (ells)") is None
    assert _title("Farm") == ("Farm", 1.0)
    assert (_metres(2.0, 10.0), _metres("2", 10.0)) == (20.0, "2")
    assert _date(46_146.0, False) == dt.date(2026, 5, 4)
    assert _date("2026-05-04", False) == dt.date(2026, 5, 4)
    assert _date("04/05/2026", False) is None
    assert _date(True, False) is None
    own = {"Farm": "Invented  FARM", "Station": "Alder"}
    assert _of(own, "Invented farm")
    assert not _of({**own, "Station": None}, "Invented farm")
    assert not _of(own, "Another farm")
