"""What is known of one judged station, column by column, and the tables that are made of it.

A column stands here once. Station review, Actions, the archive's table of verdicts and the season
on one page pick theirs by key.
"""

from __future__ import annotations

import datetime as dt
from functools import partial

from siltbook.batch.model import FlowFit, Judgement, Verdict
from siltbook.batch.numbers.effectiveness import Creep, Effectiveness, SharesGivenBack
from siltbook.batch.numbers.history import station_gauge
from siltbook.batch.remarks import all_of, of_station, on_review
from siltbook.batch.results import StationResult
from siltbook.batch.sheets.kit import one_line
from siltbook.batch.tables.describe import Column, Kind, Table, pick
from siltbook.batch.typed.boxes import ACTION, DUE, WHO
from siltbook.templates.contract import STATIONS
from siltbook.templates.orders import in_short
from siltbook.templates.shown import IN_METRES, Shown

DAYS_PER_MONTH = 30.0


def share_of_limit(result: StationResult) -> float | None:
    """The latest drop as a share of the limit [-]."""
    drop, limit = _drop(result), result.station.limit
    return drop / limit if drop is not None and drop == drop and limit > 0 else None


def exponent_text(fit: FlowFit, shown: Shown = IN_METRES) -> str:
    """What a station's exponent rests on: why 2 was kept, or the readings that fixed it."""
    span = "" if fit.low is None or fit.high is None else f"{fit.low:.2f} to {fit.high:.2f}"
    flows = ""
    if fit.flow_low is not None and fit.flow_high is not None:
        flows = f" at {shown.flow(fit.flow_low).split()[0]} to {shown.flow(fit.flow_high)}"
    if not fit.why_default:
        return f"8 in 10: {span}; {fit.readings} clean readings{flows}"
    found = f" ({fit.estimate:.2f}, 8 in 10: {span})" if fit.estimate is not None else ""
    return f"2 kept: {fit.why_default}{found}"


def shares_text(shares: SharesGivenBack) -> str:
    """How many works the median rests on, with the lowest and highest share; or why none."""
    if shares.low is None or shares.high is None:
        return shares.silent
    low, high = 100.0 * shares.low, 100.0 * shares.high
    return f"{shares.count}: {low:.0f} %" + (f" to {high:.0f} %" if shares.count > 1 else "")


def creep_text(creep: Creep, shown: Shown = IN_METRES) -> str:
    """The creep's 80 % interval [m per month] as it is shown, or why there is no creep."""
    if creep.low is None or creep.high is None:
        return creep.silent
    low, high = creep.low * DAYS_PER_MONTH, creep.high * DAYS_PER_MONTH
    say = partial(shown.number, digits=shown.digits.weekly)
    return f"{say(low)} and {say(high)}; {creep.levels} cleanings"


def steps_text(judgement: Judgement) -> str:
    """The judgement's next steps as numbered lines, in few words: the cautions stand above."""
    steps = [one_line(step.brief) for step in judgement.steps]
    if len(steps) < 2:
        return "".join(steps)
    return "\n".join(f"{n}. {step}" for n, step in enumerate(steps, 1))


def why_text(result: StationResult) -> str:
    """The reason, below it where flushing stopped helping or the element stays dirty, and what
    people noted there last: whoever goes must know of a valve that sticks."""
    effect = _effectiveness(result)
    notes = effect.notes if effect else ()
    said = (result.judgement.reason, *notes, *on_review(result, 1))
    return "\n".join(map(one_line, said))


def _drop(result: StationResult) -> float | None:
    return result.latest.drop if result.latest else None


def _effectiveness(result: StationResult) -> Effectiveness | None:
    return result.outlook.effectiveness if result.outlook else None


def _notes(result: StationResult) -> str:
    effect = _effectiveness(result)
    notes = effect.notes if effect else ()
    doubts = result.judgement.doubts if result.verdict is Verdict.IN_RANGE else ""
    said = (*notes, doubts, of_station(result.station), *all_of(result))
    return "\n".join(map(one_line, filter(None, said)))


def _creep(result: StationResult) -> float | None:
    effect = _effectiveness(result)
    slope = effect.creep.m_per_day if effect else None
    return None if slope is None else slope * DAYS_PER_MONTH


def _expected(result: StationResult) -> dt.date | None:
    return result.outlook.forecast.date if result.outlook else None


def _expected_or_passed(result: StationResult) -> dt.date | str | None:
    passed = result.outlook is not None and result.outlook.forecast.passed
    return "passed" if passed else _expected(result)


def _between(result: StationResult, shown: Shown = IN_METRES) -> str:
    """The forecast's interval; where there is no forecast, why."""
    if result.outlook is None:
        return ""
    ahead = result.outlook.forecast
    if ahead.low is None:
        return ahead.silent
    return f"{shown.day(ahead.low)} and {shown.on(ahead.high, 'later than can be told')}"


def _registered(key: str) -> Column[StationResult]:
    """A column of the sheet Stations as it was typed, for keys that nothing computes with."""
    known = STATIONS.column(key)
    return Column(
        key, known.header, Kind(known.kind) if known.kind in Kind else Kind.TEXT, known.width,
        lambda r: r.station.registered(key), known.unit, known.help, "wrap",
    )  # fmt: skip


_ALL: tuple[Column[StationResult], ...] = (
    Column("station", "Station", Kind.NAME, 15.0, lambda r: r.station.name,
           note="Station.", required=True),
    Column("block", "Block", Kind.NAME, 12.0, lambda r: r.station.block, style="wrap"),
    Column("filter_type", "Filter type", Kind.TEXT, 9.0, lambda r: r.station.filter_type),
    Column("verdict", "Verdict", Kind.VERDICT, 20.0, lambda r: r.verdict,
           note="Verdict.", required=True),
    Column("reason", "Why", Kind.TEXT, 48.0, lambda r: r.judgement.reason, style="wrap",
           note="Why, in one sentence."),
    Column("steps", "What to do next", Kind.TEXT, 56.0, lambda r: steps_text(r.judgement),
           style="wrap"),
    Column("also", "Also", Kind.VERDICTS, 20.0, lambda r: r.judgement.also,
           note="What else holds, ids with spaces between."),
    Column("borderline", "Borderline", Kind.YES_NO, 11.0, lambda r: r.judgement.borderline,
           note="Too close to the limit to be sure.", required=True),
    Column("read_on", "Read on", Kind.DATE, 12.0, lambda r: r.latest.date if r.latest else None,
           note="Day of the latest usable reading."),
    Column("drop_m", "Latest drop ({unit})", Kind.PRESSURE, 8.0, _drop, "m",
           "Latest usable drop."),
    Column("limit_m", "Limit ({unit})", Kind.PRESSURE, 8.0, lambda r: r.station.limit, "m",
           "Limit of the station.", required=True),
    Column("share_of_limit", "Share of limit", Kind.SHARE, 13.0, share_of_limit,
           formula="{drop_m}/{limit_m}"),
    Column("clean_drop_m", "Clean drop ({unit})", Kind.PRESSURE, 8.0,
           lambda r: r.station.clean_drop, "m"),
    Column("drop_u_m", "Standard uncertainty ({unit})", Kind.PRESSURE, 12.0,
           lambda r: r.latest.u_drop if r.latest else None, "m",
           "Standard uncertainty of the drop.", style="fine"),
    Column("p_over", "Probability of over", Kind.CHANCE, 11.0,
           lambda r: r.latest.p_over if r.latest else None,
           note="Probability that the drop is over the limit.", low=0, high=1),
    Column("last_flush", "Last flush", Kind.DATE, 12.0, lambda r: r.last_flush),
    Column("last_cleaning", "Last hand cleaning", Kind.DATE, 12.0, lambda r: r.last_cleaning),
    Column("episodes", "Episodes this season", Kind.COUNT, 10.0,
           lambda r: len(r.judgement.episodes)),
    Column("days_over", "Days over limit", Kind.COUNT, 8.0, lambda r: r.days_over, "days",
           "Days of the open stretch over the limit, as far as it was read."),
    Column("forecast", "Expected at limit", Kind.DATE, 12.0, _expected,
           note="Day on which the limit is expected to be reached."),
    Column("forecast_low", "From", Kind.DATE, 12.0,
           lambda r: r.outlook.forecast.low if r.outlook else None,
           note="Early end of the 80 % interval."),
    Column("forecast_high", "To", Kind.DATE, 12.0,
           lambda r: r.outlook.forecast.high if r.outlook else None,
           note="Late end of the 80 % interval."),
    Column("forecast_silent", "Why no forecast", Kind.TEXT, 24.0,
           lambda r: r.outlook.forecast.silent if r.outlook else None,
           note="Why there is no forecast.", style="wrap"),
    Column("forecast_between", "8 in 10 between", Kind.TEXT, 24.0, _between, style="wrap",
           said=_between),
    Column("read_by", "Read again by", Kind.DATE, 12.0, lambda r: r.judgement.read_by,
           note="Day by which to read again."),
    Column("energy_kwh", "Dirt so far ({unit})", Kind.ENERGY, 9.0,
           lambda r: r.outlook.cost.energy_kwh if r.outlook else None, "kWh",
           "Pump energy that dirt cost."),
    Column("energy_cost", "Dirt so far (money)", Kind.MONEY, 9.0,
           lambda r: r.outlook.cost.energy_cost if r.outlook else None,
           note="Its price, in the farm's currency."),
    Column("flow_exponent", "Flow exponent", Kind.NUMBER, 10.0,
           lambda r: r.history.flow_fit.n, style="hundredths"),
    Column("exponent_from", "Exponent rests on", Kind.TEXT, 32.0,
           lambda r: exponent_text(r.history.flow_fit), style="wrap",
           said=lambda r, shown: exponent_text(r.history.flow_fit, shown)),
    Column("flush_share", "Flushes give back", Kind.SHARE, 9.0,
           lambda r: w.flush.median if (w := _effectiveness(r)) else None),
    Column("flush_shares", "Flushes: count, range", Kind.TEXT, 16.0,
           lambda r: shares_text(w.flush) if (w := _effectiveness(r)) else None, style="wrap"),
    Column("cleaning_share", "Cleanings give back", Kind.SHARE, 11.0,
           lambda r: w.cleaning.median if (w := _effectiveness(r)) else None),
    Column("cleaning_shares", "Cleanings: count, range", Kind.TEXT, 16.0,
           lambda r: shares_text(w.cleaning) if (w := _effectiveness(r)) else None, style="wrap"),
    Column("clean_creep", "Clean drop creeps ({unit})", Kind.RATE, 10.0, _creep, "m per month"),
    Column("clean_creep_between", "8 in 10 between, or why not", Kind.TEXT, 22.0,
           lambda r: creep_text(w.creep) if (w := _effectiveness(r)) else None, style="wrap",
           said=lambda r, shown: creep_text(w.creep, shown) if (w := _effectiveness(r)) else None),
    Column("smallest_excess_m", "Smallest excess told ({unit})", Kind.PRESSURE, 10.0,
           lambda r: station_gauge(r.station.now).now, "m", style="fine"),
    Column("half_division_m", "With half the division ({unit})", Kind.PRESSURE, 9.0,
           lambda r: station_gauge(r.station.now).finer, "m", style="fine"),
    Column("one_gauge_m", "With one gauge and selector ({unit})", Kind.PRESSURE, 10.0,
           lambda r: station_gauge(r.station.now).selector, "m", style="fine"),
    Column("forecast_basis", "Forecast rests on", Kind.TEXT, 34.0,
           lambda r: r.outlook.forecast.basis if r.outlook else None, style="wrap"),
    Column("notes", "Worth knowing", Kind.TEXT, 62.0, _notes, style="wrap"),
    Column("action_agreed", ACTION, Kind.TEXT, 24.0, lambda r: (r.box and r.box.action) or None,
           style="fill-in"),
    Column("who", WHO, Kind.TEXT, 14.0, lambda r: (r.box and r.box.who) or None, style="fill-in"),
    Column("by_when", DUE, Kind.DATE, 12.0, lambda r: (r.box and r.box.due) or None,
           style="fill-in-day"),
)  # fmt: skip
KNOWN = {column.key: column for column in _ALL}

STATION_REVIEW: Table[StationResult] = Table(
    "Station review",
    (
        *pick(KNOWN, "verdict", "station", "block"),
        KNOWN["filter_type"],
        *pick(
            KNOWN, "drop_m", "limit_m", "share_of_limit", "clean_drop_m", "read_on", "last_flush",
            "last_cleaning", "episodes",
        ),
        KNOWN["days_over"].but(source=lambda r: r.days_shown),
        KNOWN["borderline"].but(
            kind=Kind.TEXT, source=lambda r: "borderline" if r.judgement.borderline else ""
        ),
        *pick(
            KNOWN, "also", "forecast", "forecast_between", "read_by", "energy_kwh", "energy_cost",
            # from here on the second printed page: what the numbers rest on
            "flow_exponent", "exponent_from", "flush_share", "flush_shares", "cleaning_share",
            "cleaning_shares", "clean_creep", "clean_creep_between", "smallest_excess_m",
            "half_division_m", "one_gauge_m", "forecast_basis", "notes",
        ),
    ),
)  # fmt: skip

ACTIONS: Table[StationResult] = Table(
    "Actions",
    (
        KNOWN["verdict"].but(width=12.5),
        KNOWN["station"].but(width=11.0),
        KNOWN["block"].but(width=7.5),
        KNOWN["reason"].but(width=43.0, source=why_text),
        KNOWN["steps"].but(width=30.0, source=lambda r: one_line(in_short(r.judgement.steps))),
        KNOWN["days_over"].but(width=8.0, source=lambda r: r.days_shown),
        KNOWN["forecast"].but(width=11.0, source=_expected_or_passed),
        KNOWN["read_by"].but(width=11.0),
        KNOWN["action_agreed"].but(width=12.5),
        KNOWN["who"].but(width=7.5),
        KNOWN["by_when"].but(width=11.0),
    ),
)

VERDICTS: Table[StationResult] = Table(
    "verdicts",
    pick(
        KNOWN, "station", "verdict", "reason", "also", "borderline", "read_on", "drop_m",
        "limit_m", "drop_u_m", "p_over", "days_over", "forecast", "forecast_low",
        "forecast_high", "forecast_silent", "read_by", "energy_kwh", "energy_cost",
    ),
)  # fmt: skip
