"""Rules that a book sets for itself, who was there, and verdicts at other gauges: at the limits."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.assess import assess
from siltbook.batch.audit.book_rules import (
    _limits,
    _new_gauges,
    _settings,
    _speaks,
    _units,
    _unlike_gauges,
)
from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.sensitivity import (
    CASES,
    Sensitivity,
    _is_told,
    _offsets,
    limits_shown,
    sensitivity,
)
from siltbook.batch.audit.sensitivity import (
    _limits as limits_of,
)
from siltbook.batch.audit.visits import Visits, nobody_there, read_visits
from siltbook.batch.errors import BookError
from siltbook.batch.model import Verdict
from siltbook.templates.book import Book, Settings
from siltbook.templates.shown import IN_METRES
from tests.audit.farm import open_places
from tests.checks.builders import Row, book, job, reading


def register(*rows: Row, **settings: object) -> Book:
    """A book of stations in metres."""
    return book([], stations=[{"station": f"S{n}", **row} for n, row in enumerate(rows)],
                pressure_unit="m", **settings)  # fmt: skip


# Settings and limits.


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("drop_limit", 5.024, ""), ("drop_limit", 4.976, ""),
        ("drop_limit", 5.5, "Drop limit is 5.5 m, by default 5 m; no remark says why"),
        ("drop_limit", 4.4, "Drop limit is 4.4 m, by default 5 m; no remark says why"),
        ("watch_share", 0.7, "Watch share is 0.7, by default 0.8; no remark says why"),
        ("watch_share", 0.803, ""),
        ("flush_cycles", 2, "Flush cycles is 2, by default 3; no remark says why"),
        ("interval", 14.0, "Reading interval is 14 days, by default 7; no remark says why"),
    ],
)  # fmt: skip
def test_a_setting_differs_beyond_half_a_percent(key: str, value: float, said: str) -> None:
    one = replace(register(), settings=replace(Settings(), **{key: value}))
    assert [p.said for p in _settings(one, {})] == ([said] if said else [])
    if said:
        (told,) = _settings(one, {key: "agreed in March"})
        assert told.holds
        assert told.said == said.replace("no remark says why", "remark: agreed in March")


@pytest.mark.parametrize(
    ("limit", "remark", "said"),
    [
        (5.02, "", None), (None, "", None),
        (6.0, "", "S0: drop limit 6 m, the farm's is 5 m; no remark says why"),
        (4.0, "", "S0: drop limit 4 m, the farm's is 5 m; no remark says why"),
        (6.0, "a LIMIT of its own", "S0: drop limit 6 m, the farm's is 5 m; remark: a LIMIT of its"
         " own"),
        (6.0, "6 m agreed", "S0: drop limit 6 m, the farm's is 5 m; remark: 6 m agreed"),
        (6.0, "new lamp", "S0: drop limit 6 m, the farm's is 5 m; no remark says why"),
    ],
)  # fmt: skip
def test_a_limit_of_a_station_s_own_needs_a_remark_on_it(
    limit: float | None, remark: str, said: str | None
) -> None:
    found = list(_limits(register({"drop_limit": limit, "remark": remark or None})))
    assert [p.said for p in found] == ([] if said is None else [said])
    assert [p.holds for p in found] == ([] if said is None else ["; remark: " in said])


def test_units_and_gauges_unlike_most_are_named() -> None:
    same: Row = {"full_scale": 60.0, "gauge_class": 1.0, "unit": "m"}
    odd = register(same, same, {**same, "full_scale": 100.0, "gauge_class": 1.6, "unit": "bar"})
    assert [p.said for p in _units(odd)] == [
        "S2: pressures in bar, the farm's in m; no remark says why"
    ]
    assert [p.said for p in _unlike_gauges(odd)] == [
        "S2: Gauge full scale 1020 m, at most stations 60 m; no remark says why",
        "S2: Gauge class (%) 1.6, at most stations 1; no remark says why",
    ]
    bar: list[Row] = [{"station": f"S{n}", "full_scale": v} for n, v in enumerate((6.0, 6.0, 4.0))]
    (coarse,) = _unlike_gauges(book([], stations=bar, unit_said=True))
    assert coarse.said == "S2: Gauge full scale 4 bar, at most stations 6 bar; no remark says why"
    told = register(same, same, {**same, "full_scale": 100.0, "remark": "a bigger Gauge"})
    assert list(_unlike_gauges(told)) == []
    # Of two kinds with as many stations each, none is the usual one.
    halves = register(same, same, *[{**same, "gauge_class": 1.6}] * 2)
    assert list(_unlike_gauges(halves)) == []
    # Stations that do not say which they have are no majority.
    unsaid = register(same, {**same, "gauge_class": 1.6}, {**same, "gauge_class": 1.6}, {}, {})
    assert [p.station for p in _unlike_gauges(unsaid)] == ["S0"]
    assert _speaks("unit is kPa", "UNIT")
    assert not _speaks("", "unit")


def test_a_gauge_that_was_changed_is_for_the_record_where_no_remark_says_so() -> None:
    gauges: list[Row] = [{"station": "S0", "since": dt.date(2026, 5, 4)}]
    one = book([], stations=[{"station": "S0"}], gauges=gauges)
    (found,) = _new_gauges(one)
    assert found.said == "S0: another gauge from 2026-05-04; no remark says why"
    assert found.holds
    gauges[0]["remark"] = "broke"
    assert list(_new_gauges(book([], stations=[{"station": "S0"}], gauges=gauges))) == []


# Who was there.


def asked(visits: dict[int, set[str]], readings: list[Row], work: list[Row] | None = None,
          as_of: dt.date | None = None) -> RuleResult:  # fmt: skip
    days = {dt.date(2026, 5, day): frozenset(names) for day, names in visits.items()}
    return nobody_there(book(readings, work=work), Visits("gate.csv", days), as_of)


def test_the_first_and_the_last_visit_are_asked_and_nothing_beyond() -> None:
    rows = [reading(day) for day in (3, 4, 5, 8, 9)]
    found = asked({4: set(), 8: set()}, rows)
    assert [place.said for place in open_places(found)] == [
        "North 1, 2026-05-05: read on a day on which gate.csv has no visit"
    ]
    assert asked({4: set(), 5: set(), 8: set()}, rows).said == (
        "All 3 entries in the days of gate.csv (2026-05-04 to 2026-05-08) are on days of a visit;"
        " 2 lie before or after it and were not asked."
    )
    inside = asked({3: set(), 4: set(), 5: set(), 8: set(), 9: set()}, rows)
    assert inside.said.endswith("are on days of a visit.")
    assert asked({20: set()}, rows).said == (
        "No entry lies in the days of gate.csv (2026-05-20 to 2026-05-20)."
    )
    early = asked({3: set(), 9: set()}, rows, as_of=dt.date(2026, 5, 4))
    assert [p.cell for p in open_places(early)] == ["B3"]


@pytest.mark.parametrize(
    ("there", "person", "said"),
    [
        ({"reader b"}, "Reader A",
         "read by Reader A, while gate.csv has Reader B there that day"),
        ({"reader b", "reader c"}, "Reader A",
         "read by Reader A, while gate.csv has Reader B and Reader C there that day"),
        ({"reader a", "reader b"}, "READER  A", ""),
        (set(), "Reader A", ""),
        ({"reader b"}, "Reader X", ""),
        ({"reader b"}, None, ""),
    ],
)  # fmt: skip
def test_a_person_is_asked_for_where_the_list_knows_both(
    there: set[str], person: str | None, said: str
) -> None:
    visits = {4: {"reader a"}, 5: there, 6: {"reader a"}}
    found = asked(visits, [reading(5, read_by=person)])
    assert [p.said for p in open_places(found)] == (
        [f"North 1, 2026-05-05: {said}"] if said else []
    )


def test_work_is_done_and_not_read() -> None:
    found = asked({4: set(), 6: set()}, [], [job(5, done_by="Reader A")])
    (place,) = open_places(found)
    assert place.said == (
        "North 1, 2026-05-05: done by Reader A on a day on which gate.csv has no visit"
    )
    assert place.sheet == "Work done"


@pytest.mark.parametrize(("above", "read"), [(19, True), (20, False)])
def test_the_headers_are_looked_for_in_twenty_rows(above: int, read: bool) -> None:
    data = "".join("gate log,\n" for _ in range(above)) + "Date,Person\n2026-05-04,A\n"
    if read:
        assert read_visits(data.encode(), "gate.csv").people == {"a"}
    else:
        with pytest.raises(BookError, match="no column of visit dates was found"):
            read_visits(data.encode(), "gate.csv")


def test_people_of_one_day_are_put_together_however_they_are_parted() -> None:
    rows = "Day,Who\n2026-05-04,Ann; Bo & Cy/Di\n2026-05-04,Ed and Flo\n2026-05-05,\n"
    visits = read_visits(rows.encode(), "gate.csv")
    assert visits.days[dt.date(2026, 5, 4)] == {"ann", "bo", "cy", "di", "ed", "flo"}
    assert visits.days[dt.date(2026, 5, 5)] == frozenset()


# Verdicts at other gauges.


def offsets(**gauge: object) -> tuple[float, float]:
    one = book([reading(4, inlet=30.0, outlet=26.0)], pressure_unit="m",
               stations=[{"station": "North 1", "unit": "m", "full_scale": 60.0, "gauge_class": 1.0,
                          "division": 0.2, **gauge}])  # fmt: skip
    by_class, by_reading = _offsets(one)
    return float(by_class.iloc[0]), float(by_reading.iloc[0])


def test_how_far_a_drop_can_be_off() -> None:
    assert offsets(gauges="two gauges") == pytest.approx((1.2, 0.2))  # 2 x 1 % of 60 m
    assert offsets(gauges="one gauge") == pytest.approx((0.04, 0.2))  # 1 % of a drop of 4 m
    assert offsets(gauges=None) == pytest.approx((0.0, 0.2))
    assert offsets(gauges="two gauges", full_scale=None) == pytest.approx((0.0, 0.2))
    assert offsets(gauges="two gauges", division=None) == pytest.approx((1.2, 0.0))


def judged(**gauge: object) -> Sensitivity:
    one = book([reading(day, inlet=30.0, outlet=25.5) for day in (4, 10)], pressure_unit="m",
               stations=[{"station": "North 1", "unit": "m", **gauge}])  # fmt: skip
    (found,) = sensitivity(assess(one, as_of=dt.date(2026, 5, 10)))
    return found


@pytest.mark.parametrize(
    ("gauge", "by_class", "by_reading"),
    [
        ({"gauges": "two gauges", "full_scale": 60.0, "gauge_class": 1.0}, True, False),
        ({"gauges": "two gauges", "gauge_class": 1.0, "division": 0.1}, False, True),
        ({"gauges": "one gauge", "gauge_class": 1.0}, True, False),
        ({"full_scale": 60.0, "gauge_class": 1.0}, False, False),
        ({"gauges": "two gauges", "full_scale": 60.0}, False, False),
    ],
)
def test_only_a_known_gauge_says_what_would_be(
    gauge: Row, by_class: bool, by_reading: bool
) -> None:
    found = judged(**gauge)
    known = [found.at(case) is not None for case in CASES]
    assert known == [True] * 3 + [by_class] * 2 + [by_reading] * 2
    assert found.now is Verdict.WATCH


def test_the_usual_limit_is_judged_anew_only_where_another_one_counts() -> None:
    plain = assess(register({}, {}), as_of=None)
    own = assess(register({}, {"drop_limit": 6.0}), as_of=None)
    assert not _is_told(plain, "limit 5 m")
    assert _is_told(own, "limit 5 m")
    assert _is_told(plain, "limit 4 m")
    assert limits_of(own.book) == {5.0, 6.0}
    assert limits_shown(IN_METRES) == ("4 m", "5 m", "6 m")
    assert not _is_told(plain, "gauges +class")


def test_a_quiet_book_stays_quiet() -> None:
    assert asked({4: set(), 5: set()}, [reading(4)]).state is State.QUIET
