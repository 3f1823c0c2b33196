"""The days ahead: forecast into the verdict, next reading, and how they reach the JSON."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.assess import by_urgency
from siltbook.batch.ladder.verdict import judge
from siltbook.batch.model import History, Judgement, Station, Verdict
from siltbook.batch.numbers.forecast import Forecast
from siltbook.batch.numbers.order import in_order
from siltbook.batch.numbers.outlook import Outlook, outlooks, soon
from siltbook.batch.results import StationResult
from tests.ladder.histories import DAY0, SETTINGS, read, station, verdict_of, work

RISING = tuple(read(7 * week, 1.0 + 0.4 * week) for week in range(8))  # 3.8 m on day 49


def day(number: int) -> dt.date:
    return DAY0 + dt.timedelta(days=number)


def outlook(*entries: object, at: Station | None = None, as_of: int = 49) -> Outlook:
    history = History(at or station(), in_order(entries))  # type: ignore[arg-type]
    return outlooks([history], SETTINGS, day(as_of))[0]


def judged(expected: Forecast, drop: float = 3.0, as_of: int = 0) -> Judgement:
    return judge(History(station(), (read(0, drop),)), SETTINGS, day(as_of), expected)


def test_a_steady_rise_is_expected_at_the_limit_near_its_straight_line() -> None:
    expected = outlook(*RISING).forecast
    assert expected.silent == ""
    assert expected.low is not None
    assert expected.high is not None
    # 1.2 m more at 0.4 m a week is three weeks; dirt that speeds up brings it earlier.
    assert expected.low <= day(70) <= expected.high
    assert expected.low <= expected.date <= expected.high


def test_over_resting_and_unread_stations_have_no_forecast() -> None:
    over = outlook(*RISING, read(50, 5.5), as_of=50)
    assert over.forecast.silent == "already over the limit"
    resting = outlook(*RISING, at=station(in_service=False))
    assert resting.forecast.silent == "not in service"
    assert outlook(as_of=3).forecast.silent == "no usable reading"


def test_sides_that_read_alike_have_no_expected_day() -> None:
    """'Expected at the limit about 2026-07-12' stood behind 'a shut valve looks so'."""
    alike = [read(50 + number, 0.0) for number in range(3)]
    silent = outlook(*RISING, *alike, as_of=53).forecast.silent
    assert silent == "inlet and outlet read alike: there is no drop to reckon from"
    assert "alike" not in outlook(*RISING, *alike[:2], as_of=53).forecast.silent


def test_a_crowded_book_has_no_forecasts_and_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two stations where one is the most; what else is silent keeps its own reason."""
    monkeypatch.setattr("siltbook.batch.numbers.outlook.MOST_STATIONS", 1)
    pair = [History(station(), RISING), History(station(in_service=False), RISING)]
    many, resting = outlooks(pair, SETTINGS, day(49))
    assert many.forecast.silent == (
        "more than 2,000 stations in one book, so forecasts are left out: split the book by farm"
    )
    assert resting.forecast.silent == "not in service"
    (alone,) = outlooks(pair[:1], SETTINGS, day(49))
    assert alone.forecast.silent == ""


def test_a_drop_at_the_limit_within_arithmetic_noise_is_not_over() -> None:
    at_limit = outlook(*RISING, read(50, 5.0 + 1e-9), as_of=50)
    assert at_limit.forecast.silent != "already over the limit"


def test_read_by_is_the_interval_or_the_early_end_of_the_forecast() -> None:
    far, near = Forecast(day(40), day(30), None, ""), Forecast(day(9), day(4), None, "")
    assert judged(far).read_by == day(7)
    assert judged(near).read_by == day(4)
    assert judged(near, as_of=6).read_by == day(6)
    assert judged(near).steps[0].words == "Read again by 2026-06-05; plan a flush."
    assert judged(far, drop=1.0).verdict is Verdict.IN_RANGE


CLEANED = (read(0, 5.5), work(0), read(0, 5.4, "after flush"), work(1, "hand cleaning"))
PENDING = {
    Verdict.ESCALATE: (*CLEANED, read(1, 5.4, "after cleaning")),
    Verdict.HAND_CLEAN: (read(0, 5.5), work(0), read(1, 5.4, "after flush")),
    Verdict.CHECK_FLUSH_GEAR: (read(0, 5.5), work(1, click=False)),
    Verdict.CHECK_SUPPLY: (read(0, 5.5), work(1, flush_inlet=3.0)),
    Verdict.FLUSH: (read(1, 5.5),),
    Verdict.INSPECT_SCREEN: (read(1, 0.1, flow=40.0),),
    Verdict.CHECK_FIELD: (read(1, 1.0, field=5.0),),
}


@pytest.mark.parametrize("verdict", PENDING)
def test_where_work_is_pending_one_reads_right_after_it(verdict: Verdict) -> None:
    """Today or tomorrow, not a whole interval later; the steps say the same."""
    at = station(reference_flow=40.0, wanted_field=10.0)
    found = verdict_of(*PENDING[verdict], at=at)
    assert found.verdict is verdict
    assert found.read_by == day(2)
    assert "the same day" in found.steps[-1].words


def test_where_a_reading_is_owed_it_is_due_at_once() -> None:
    awaited = verdict_of(read(0, 5.5), work(1))
    unusable = verdict_of(read(0, 1.0), read(1, 1.0, why_unusable="no flow"))
    late = verdict_of(read(0, 1.0), as_of=20)
    found = [(one.verdict, one.read_by) for one in (awaited, unusable, late)]
    assert found == [
        (Verdict.RE_READ, day(1)), (Verdict.RE_READ, day(1)), (Verdict.NO_READING, day(20)),
    ]  # fmt: skip
    assert verdict_of().read_by == DAY0
    assert verdict_of(read(0, 5.5), at=station(in_service=False)).read_by is None


def test_an_expected_day_that_has_passed_is_no_forecast() -> None:
    steep = (read(0, 1.0), read(3, 2.4), read(6, 3.6), read(8, 4.6))
    fresh, stale = outlook(*steep, as_of=8).forecast, outlook(*steep, as_of=14).forecast
    assert fresh.date is not None
    assert day(8) < fresh.date < day(14)
    assert (stale.date, stale.low, stale.high, stale.passed) == (None, None, None, fresh.date)
    assert stale.silent == (
        f"the expected day, {fresh.date}, has passed, and no usable reading since 2026-06-09"
    )
    said = f" Expected at the limit about {fresh.date}: that has passed, so it may be over by now."
    watched = judge(History(station(), steep), SETTINGS, day(14), stale)
    overdue = judge(History(station(), steep), SETTINGS, day(20), stale)
    assert (watched.verdict, watched.read_by) == (Verdict.WATCH, day(14))
    assert (overdue.verdict, overdue.read_by) == (Verdict.NO_READING, day(20))
    assert watched.reason.endswith(said)
    assert overdue.reason.endswith(said)
    low = judge(History(station(), (read(8, 2.0),)), SETTINGS, day(9), stale)
    assert low.verdict is Verdict.WATCH


def test_an_early_end_that_has_passed_says_that_it_may_be_over() -> None:
    begun = Forecast(day(14), day(3), day(20), "")
    expected = "expected at the limit about 2026-06-15"
    by = f"{expected} (8 in 10: by 2026-06-21; it may be over by now)."
    assert judged(begun, as_of=5).reason.endswith(by)
    open_end = judged(replace(begun, high=None), as_of=5).reason
    assert open_end.endswith(f"{expected} (it may be over by now).")
    slow = (read(0, 1.0), read(7, 2.4), read(14, 3.2), read(21, 3.6))
    fresh = outlook(*slow, as_of=21).forecast
    assert fresh.low is not None
    assert fresh.date is not None
    assert fresh.low < day(36) < fresh.date
    assert outlook(*slow, as_of=36).forecast == replace(fresh, low=day(36))


def test_forecast_within_two_intervals_is_watched_and_says_when() -> None:
    near = Forecast(day(14), day(10), day(20), "")
    watched = judged(near)
    assert watched.verdict is Verdict.WATCH
    assert watched.reason == (
        "Drop 3.00 m on 2026-06-01, within the limit of 5.00 m; expected at the limit about "
        "2026-06-15 (8 in 10: between 2026-06-11 and 2026-06-21)."
    )
    assert judged(replace(near, date=day(15))).verdict is Verdict.IN_RANGE
    assert judged(Forecast(None, None, None, "too few")).verdict is Verdict.IN_RANGE
    assert not soon(near, SETTINGS, None)


def test_a_watched_station_that_flushing_no_longer_helps_is_to_be_cleaned() -> None:
    """The verdict stays; 'plan a flush' would contradict the note beside it."""
    history = History(station(), (read(0, 4.5),))
    usual, tired = (judge(history, SETTINGS, day(0), None, helps) for helps in (True, False))
    assert usual.verdict is tired.verdict is Verdict.WATCH
    assert usual.steps[0].words == "Read again by 2026-06-08; plan a flush."
    assert tired.steps[0].words == "Read again by 2026-06-08; plan a hand cleaning."


def test_runs_are_cut_at_the_work_and_the_farm_helps_a_short_one() -> None:
    cleaned = (*RISING, read(56, 5.2), work(57, "hand cleaning"), read(57, 1.0, "after cleaning"))
    ahead = outlook(*cleaned, as_of=57)
    assert [run.ended_by for run in ahead.runs] == ["hand cleaning", ""]
    assert ahead.forecast.date is not None
    young = History(station(name="Young"), (read(57, 1.0),))
    old = History(station(name="Old"), in_order(cleaned))
    alone = outlooks([young], SETTINGS, day(57))[0]
    helped = outlooks([young, old], SETTINGS, day(57))[0]
    assert alone.forecast.date is None
    assert alone.forecast.silent
    assert helped.forecast.date is not None


def test_stations_of_one_verdict_come_earliest_expected_first() -> None:
    """Then those without a forecast by share of the limit; the order of verdicts stays."""

    def result(name: str, verdict: Verdict, drop: float, expected: dt.date | None) -> StationResult:
        history = History(station(name=name), (read(0, drop),))
        ahead = outlooks([history], SETTINGS, day(0))[0]
        ahead = replace(ahead, forecast=Forecast(expected, expected, None, ""))
        judgement = replace(judge(history, SETTINGS, day(0)), verdict=verdict)
        return StationResult(history, judgement, history.latest, None, None, None, ahead)

    watch = Verdict.WATCH
    results = [
        result("near but slow", watch, 4.9, day(20)),
        result("unknown, low", watch, 4.1, None),
        result("unknown, high", watch, 4.2, None),
        result("fast", watch, 3.0, day(6)),
        result("flush", Verdict.FLUSH, 5.2, None),
        result("calm but soon", Verdict.IN_RANGE, 3.0, day(1)),
    ]
    assert [r.station.name for r in sorted(results, key=by_urgency)] == [
        "flush", "fast", "near but slow", "unknown, high", "unknown, low", "calm but soon",
    ]  # fmt: skip
