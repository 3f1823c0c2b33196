"""Whole sentences: of every verdict, and of what stands behind it."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import CarriedOver, History, Reading, Station, Verdict, Work
from siltbook.batch.numbers.forecast import Forecast
from siltbook.checks.slipped import EXCHANGED, Slipped
from siltbook.templates.book import Elsewhere
from tests.ladder.histories import DAY0, SETTINGS, read, station, work

OVER, FINE = 6.0, 2.0
DAY = dt.timedelta(days=1)
AT_FIRST = "drop 6.00 m on 2026-06-01, 1.00 m over the limit of 5.00 m"
IN_RANGE = "rop 2.00 m on 2026-06-01, within the limit of 5.00 m"
SINCE = " Carried over from last season, over since 2026-05-23."
OVER0, FINE0 = read(0, OVER), read(0, FINE)
NO_CLICK, SOLENOID = work(1, click=False), work(2, "solenoid replaced")
FLUSHED = (OVER0, work(1))
CLEANED = (*FLUSHED, read(2, OVER), work(3, "hand cleaning"))
BAD = read(0, 1.0, why_unusable="no flow")


def carried(step: str, gear: str = "trusted", **days: int) -> CarriedOver:
    """Of last season; open since the ninth day before the first."""
    opened = DAY0 - 9 * DAY if step != "clear" else None
    return CarriedOver(2, step, gear, opened=opened, **{k: DAY0 - n * DAY for k, n in days.items()})


def said(
    *entries: Reading | Work,
    at: Station | None = None,
    as_of: int | None = None,
    expected: Forecast | None = None,
    **history: Any,
) -> tuple[Verdict, str]:
    day = entries[-1].date if as_of is None else DAY0 + as_of * DAY
    judged = judge(History(at or station(), entries, **history), SETTINGS, day, expected)
    return judged.verdict, judged.reason


ESCALATE = [
    (
        (OVER0, NO_CLICK, SOLENOID, work(3, click=False), work(4, "called out")),
        None,
        "The flush of 2026-06-04 gave no signs; a new solenoid (2026-06-03) did not help; the"
        f" controller is suspect; {AT_FIRST}; help was called on 2026-06-05.",
    ),
    (
        (OVER0,),
        carried("needs flush", "controller suspect"),
        f"The controller is suspect; {AT_FIRST}.{SINCE}",
    ),
    ((OVER0,), carried("needs escalation"), f"D{AT_FIRST[1:]}.{SINCE}"),
    (
        (OVER0,),
        carried("needs escalation", cleaned=8, called=3),
        f"D{AT_FIRST[1:]}; the hand cleaning of 2026-05-24 did not help; help was called on"
        f" 2026-05-29.{SINCE}",
    ),
    (
        (*CLEANED, read(4, OVER)),
        None,
        "Drop 6.00 m on 2026-06-05, 1.00 m over the limit of 5.00 m; the flush of 2026-06-02 and"
        " hand cleaning of 2026-06-04 did not help.",
    ),
]
HAND_CLEAN = [
    ((OVER0,), carried("needs hand cleaning"), f"D{AT_FIRST[1:]}.{SINCE}"),
    (
        (OVER0, work(1, cycles=None), read(2, OVER)),
        None,
        "Drop 6.00 m on 2026-06-03, 1.00 m over the limit of 5.00 m; the flush of 2026-06-02 did"
        " not bring it down.",
    ),
]
GEAR = [
    (
        (OVER0,),
        carried("clear", "solenoid suspect"),
        f"The solenoid is suspect; {AT_FIRST}. Carried over from last season.",
    ),
    (
        (OVER0,),
        carried("clear", "solenoid suspect", failed=4),
        f"Flush of 2026-05-28: its signs were missing; {AT_FIRST}. Carried over from last season.",
    ),
    # What was carried over still stands behind a flush of this season.
    (
        (OVER0, NO_CLICK),
        carried("clear", "solenoid suspect", failed=9),
        f"Flush of 2026-06-02: no click heard; {AT_FIRST}. Carried over from last season.",
    ),
]
FLUSH = [
    (
        (OVER0, read(3, 6.5)),
        None,
        "Drop 6.50 m on 2026-06-04, 1.50 m over the limit of 5.00 m; over since 2026-06-01, no"
        " complete flush since.",
    ),
    (
        (OVER0, work(4, cycles=2.0)),
        None,
        f"D{AT_FIRST[1:]}; no complete flush since; the flush of 2026-06-05 was 1 cycle short.",
    ),
    (
        (FINE0, NO_CLICK, SOLENOID),
        None,
        f"Solenoid replaced on 2026-06-03, not yet proven by a complete flush; d{IN_RANGE}.",
    ),
    ((OVER0,), carried("needs flush"), f"D{AT_FIRST[1:]}; no complete flush since.{SINCE}"),
    (
        (OVER0,),
        carried("needs flush", "awaiting proof"),
        f"D{AT_FIRST[1:]}; no complete flush since.{SINCE}",
    ),
]
SUPPLY = [
    (
        (read(0, OVER, inlet=20.0),),
        None,
        "Inlet 20.0 m on 2026-06-01, and a flush needs at least 20.4 m: it cannot work until the"
        f" supply is back; {AT_FIRST}.",
    ),
    (
        (OVER0, work(1, flush_inlet=15.0)),
        None,
        f"Inlet fell to 15.0 m in the flush of 2026-06-02, at least 20.4 m is needed; {AT_FIRST}.",
    ),
    (
        (OVER0, work(1, flush_inlet=15.0, click=False, water=False)),
        None,
        "Inlet fell to 15.0 m in the flush of 2026-06-02, at least 20.4 m is needed; at that inlet"
        " 'no click heard and no water at the outlet' says nothing about solenoid or controller;"
        f" {AT_FIRST}.",
    ),
    (
        (OVER0,),
        carried("needs flush", supply=8),
        "Inlet too low for a flush on 2026-05-24, in last season's book; at least 20.4 m is"
        f" needed; {AT_FIRST}.{SINCE}",
    ),
]
BEFORE = " cannot be judged (no flow); "
RE_READ = [
    (
        (*FLUSHED, read(2, FINE, why_unusable="no flow")),
        None,
        "Flushed on 2026-06-02, no usable reading since; the reading of 2026-06-03"
        f"{BEFORE}{AT_FIRST}.",
    ),
    (
        CLEANED,
        None,
        "Hand cleaning on 2026-06-04, no usable reading since; drop 6.00 m on 2026-06-03, 1.00 m"
        " over the limit of 5.00 m.",
    ),
    (
        (*CLEANED[:3], work(3, "screen replaced")),
        None,
        "Screen replaced on 2026-06-04, no usable reading since; drop 6.00 m on 2026-06-03, 1.00 m"
        " over the limit of 5.00 m.",
    ),
    (
        (BAD,),
        carried("awaiting reading after flush"),
        f"Flushed, not yet read; the reading of 2026-06-01{BEFORE}no usable reading yet.{SINCE}",
    ),
    (
        (BAD,),
        carried("awaiting reading after cleaning"),
        f"Cleaned, not yet read; the reading of 2026-06-01{BEFORE}no usable reading yet.{SINCE}",
    ),
    ((BAD,), None, "The reading of 2026-06-01 cannot be judged (no flow)."),
    (
        (FINE0, read(1, 1.0, why_unusable="no flow")),
        None,
        f"The reading of 2026-06-02{BEFORE}before it: d{IN_RANGE}.",
    ),
]
ALL = {
    Verdict.ESCALATE: ESCALATE,
    Verdict.HAND_CLEAN: HAND_CLEAN,
    Verdict.CHECK_FLUSH_GEAR: GEAR,
    Verdict.FLUSH: FLUSH,
    Verdict.CHECK_SUPPLY: SUPPLY,
    Verdict.RE_READ: RE_READ,
}


@pytest.mark.parametrize(
    ("entries", "last_season", "sentence", "verdict"),
    [(*case, verdict) for verdict, cases in ALL.items() for case in cases],
)
def test_each_verdict_says_what_it_rests_on(
    entries: tuple[Reading | Work, ...],
    last_season: CarriedOver | None,
    sentence: str,
    verdict: Verdict,
) -> None:
    assert said(*entries, carried=last_season) == (verdict, sentence)


def test_a_low_inlet_or_field_is_said_against_what_is_wanted() -> None:
    weak = station(working_inlet=26.0)
    assert said(read(0, OVER, inlet=25.0), at=weak)[1] == (
        f"D{AT_FIRST[1:]}; no complete flush since; inlet 25.0 m on 2026-06-01, lowest working"
        " inlet is 26.0 m."
    )
    assert said(read(0, FINE, inlet=25.0), at=weak)[1] == (
        f"Inlet 25.0 m on 2026-06-01, lowest working inlet is 26.0 m; d{IN_RANGE}."
    )
    days = [read(day, FINE) for day in range(3)]
    fallen = read(3, 0.5, inlet=5.0, outlet=4.5)
    assert said(*days, fallen, at=weak)[1].startswith(
        "Inlet 5.0 m on 2026-06-04, lowest working inlet is 26.0 m; "
    )
    assert said(*days, fallen)[1].startswith(
        "Inlet 5.0 m on 2026-06-04, under half of the usual 30.0 m; "
    )
    wanted = station(wanted_field=15.0)
    assert said(read(0, FINE, field=10.0), at=wanted) == (
        Verdict.CHECK_FIELD,
        f"Field pressure 10.0 m on 2026-06-01, 15.0 m is wanted; supply is fine and d{IN_RANGE}.",
    )
    assert said(read(0, FINE, field=15.0), at=wanted)[0] is Verdict.IN_RANGE
    bad = read(1, FINE, why_unusable="no flow")
    assert said(read(0, FINE, field=10.0), bad, at=wanted)[1].endswith(
        " Field pressure is low: look beyond the filter."
    )


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        (46.0, ""),
        (46.4, " Flow is 16 % above the reference flow: look for a leak."),
        (80.0, " Flow is 100 % above the reference flow: look for a leak."),
    ],
)
def test_a_leak_is_looked_for_above_fifteen_per_cent_with_a_low_pressure(
    flow: float, words: str
) -> None:
    at = station(wanted_field=15.0, reference_flow=40.0)
    low = said(read(0, FINE, field=10.0, flow=flow), at=at)[1]
    assert low.endswith(f" within the limit of 5.00 m.{words}")
    assert "leak" not in said(read(0, FINE, field=15.0, flow=flow), at=at)[1]


def test_an_implausibly_low_drop_is_said_with_its_flow() -> None:
    at = station(clean_drop=1.5, reference_flow=40.0)
    assert said(read(0, 0.5, flow=38.0), at=at) == (
        Verdict.INSPECT_SCREEN,
        "Drop 0.50 m at 38 m³/h on 2026-06-01 is implausibly low for a clean drop of 1.50 m: torn"
        " or missing element, or an open bypass.",
    )


@pytest.mark.parametrize(
    ("unit", "per", "shown"),
    [
        ("L/min", 0.06, "3.5 L/min"),
        ("L/s", 3.6, "3.5 L/s"),
        ("m3/h", 1.0, "3.5 m³/h"),
        ("L/min", 60.0, "3,500 L/min"),
    ],
)
def test_a_flow_is_said_in_the_unit_of_the_farm(unit: str, per: float, shown: str) -> None:
    """A small farm's flow was 'at 0 m³/h'."""
    at = station(clean_drop=1.5, reference_flow=3.6 * per)
    history = History(at, (read(0, 0.5, flow=3.5 * per),))
    reason = judge(history, replace(SETTINGS, flow_unit=unit), DAY0).reason
    assert reason.startswith(f"Drop 0.50 m at {shown} on 2026-06-01 is implausibly low")


def test_what_could_not_be_read_beside_the_pressures_is_listed() -> None:
    unread = ("Flow 'low'", "'Field pressure' 'none'", "Drop 'x'")
    words = f"D{IN_RANGE}. The reading of 2026-06-01 has "
    end = ": that may mean no flow, or no pressure."
    reading = read(0, FINE, unread=unread)
    assert said(reading) == (Verdict.RE_READ, f"{words}Flow 'low' and Drop 'x'{end}")
    assert said(reading, at=station(wanted_field=10.0))[1] == (
        f"{words}Flow 'low', 'Field pressure' 'none' and Drop 'x'{end}"
    )


def test_what_was_not_read_last_is_said_with_its_age() -> None:
    assert said(FINE0, as_of=20)[1] == (
        f"Last usable reading 20 days ago, asked every 7 days; d{IN_RANGE}."
    )


WATCHED = [
    (
        (read(0, 3.0, flow=30.3),),
        {"reference_flow": 40.0},
        "it was read at 76 % of the reference flow, where 5.23 m is over the limit: read again at"
        " the usual flow.",
    ),
    (
        (*(read(day, 1.0, flow=40.0) for day in range(3)), read(3, 3.0, flow=30.0)),
        {},
        "it was read at 75 % of the usual flow, where 5.33 m is over the limit: read again at the"
        " usual flow.",
    ),
    (
        (OVER0, read(1, FINE)),
        {},
        "back in range with no work logged, by one reading of which no flow is known. It was"
        " 6.00 m on 2026-06-01; no work is logged since.",
    ),
    (
        (OVER0, read(1, 4.9, p_over=0.4)),
        {},
        "back in range with no work logged, by less than the gauge can tell.",
    ),
    ((read(0, 4.2),), {}, "84 % of the limit."),
    ((read(0, 3.9),), {"clean_drop": 0.3}, "risen 3.60 m over the clean drop."),
]


@pytest.mark.parametrize(("entries", "register", "words"), WATCHED)
def test_what_is_watched_says_why(
    entries: tuple[Reading, ...], register: dict[str, Any], words: str
) -> None:
    verdict, sentence = said(*entries, at=station(**register))
    assert verdict is Verdict.WATCH
    assert sentence.endswith(f", within the limit of 5.00 m; {words}")


def test_a_rise_of_just_so_much_is_not_watched() -> None:
    assert said(read(0, 3.8), at=station(clean_drop=0.3))[0] is Verdict.IN_RANGE
    assert said(read(0, 3.81), at=station(clean_drop=0.3))[0] is Verdict.WATCH


ABOUT = "at the limit about 2026-06-10"
SOON, LATE = DAY0 + 5 * DAY, DAY0 + 20 * DAY


@pytest.mark.parametrize(
    ("as_of", "high", "span"),
    [
        (4, LATE, "8 in 10: between 2026-06-06 and 2026-06-21"),
        (4, None, "8 in 10: between 2026-06-06 and later than can be told"),
        (5, LATE, "8 in 10: by 2026-06-21; it may be over by now"),
        (5, None, "it may be over by now"),
    ],
)
def test_an_expected_day_is_said_with_its_span(as_of: int, high: dt.date | None, span: str) -> None:
    expected = Forecast(DAY0 + 9 * DAY, SOON, high, "")
    sentence = said(read(0, 4.2), as_of=as_of, expected=expected)[1]
    assert sentence.endswith(f"; 84 % of the limit; expected {ABOUT} ({span}).")


@pytest.mark.parametrize(
    ("flow", "words"),
    [
        (42.1, "expected"),  # 3.79 m, within a tenth
        (42.3, "3.76 m at the reference flow, expected there"),
        (38.1, "4.63 m at the reference flow, expected there"),
        (38.2, "expected"),
    ],
)
def test_an_expected_day_names_the_drop_at_the_reference_flow_where_it_is_another(
    flow: float, words: str
) -> None:
    expected = Forecast(DAY0 + 9 * DAY, SOON, LATE, "")
    at = station(reference_flow=40.0)
    sentence = said(read(0, 4.2, flow=flow), at=at, expected=expected)[1]
    assert f"; 84 % of the limit; {words} {ABOUT} (" in sentence


def test_a_day_that_has_passed_unread_is_said() -> None:
    passed = Forecast(None, None, None, "passed", passed=DAY0 + 3 * DAY)
    assert said(read(0, 4.2), as_of=5, expected=passed)[1].endswith(
        "; 84 % of the limit. Expected at the limit about 2026-06-04: that has passed, so it may be"
        " over by now."
    )


def test_what_stands_on_less_than_two_working_gauges_says_so() -> None:
    assert said(read(0, FINE, inlet=None, outlet=None))[1] == (
        f"D{IN_RANGE}. Only the drop was written down, so the supply could not be judged."
    )
    assert said(read(0, 30.0, outlet=0.0))[1].endswith(
        " The outlet reads zero: a dead gauge or a shut valve looks the same."
    )


def test_what_may_hold_the_latest_is_named_row_by_row() -> None:
    slip = Slipped(7, DAY0 + 3 * DAY, DAY0 - 80 * DAY, EXCHANGED)
    assert said(FINE0, slipped=(slip,), as_of=4)[1] == (
        f"D{IN_RANGE}. The reading in row 7 is dated 2026-06-04 and looks like one of 2026-03-13"
        " with day and month exchanged, so nobody knows which is the latest: correct its date."
    )
    lost = {"unplaced": (7, 8), "unplaced_work": ((9, DAY0), (10, None))}
    assert said(FINE0, **lost)[1] == (
        f"D{IN_RANGE}. Rows 7 and 8 of the readings could not be placed and may be the latest"
        " here: correct station or date. Row 9 of the work could not be placed and may be work"
        " here: correct station or date."
    )
    assert said(FINE0, unplaced_work=((10, None),)) == (Verdict.RE_READ, f"D{IN_RANGE}.")


def test_each_sheet_and_table_that_was_not_read_is_named_with_its_latest_day() -> None:
    elsewhere = (
        Elsewhere("June", "Readings", (DAY0 + DAY, DAY0 + 2 * DAY, DAY0)),
        Elsewhere("", "Readings", (DAY0,)),
        Elsewhere("", "Work done", (DAY0,)),
        Elsewhere("W", "Work done", (DAY0 - DAY, DAY0)),
    )
    assert said(FINE0, elsewhere=elsewhere)[1] == (
        f"D{IN_RANGE}. The sheet June looks like Readings, was not read and has an entry here of"
        " 2026-06-03: move its rows to the sheet Readings. A second table on Readings was not read"
        " and has an entry here of 2026-06-01: move its rows under the first. A second table on"
        " Work done was not read and has an entry here of 2026-06-01: move its rows under the"
        " first. The sheet W looks like Work done, was not read and has an entry here of"
        " 2026-06-01: move its rows to the sheet Work done."
    )


def test_what_rests_says_how_it_was_left() -> None:
    resting = station(in_service=False)
    assert said(OVER0, at=resting)[1] == f"Not in service; {AT_FIRST}."
    assert said(BAD, at=resting)[1] == "Not in service; no usable reading yet."
