"""The words of a verdict: the sentence of reasons."""

from __future__ import annotations

from collections.abc import Sequence

from siltbook.batch.ladder.doubts import (
    alike_on_end,
    alike_words,
    outlet_still,
    over_and_in_range,
    over_and_in_range_words,
    still_outlet,
    still_words,
    zero_outlet,
)
from siltbook.batch.ladder.facts import (
    Facts,
    at_known_flow,
    at_reference,
    back_by_one_reading,
    came_back_alone,
    fallen_from,
    field_low,
    flush_unseen,
    inlet_low,
    known_flow,
    leak_suspected,
    limit_too_high,
    over_at_reference,
    rules_not_read,
    too_low_to_flush,
    unread_beside,
)
from siltbook.batch.ladder.replay import RISE_TO_WATCH, Gear, Step, cycles_short
from siltbook.batch.model import Verdict, Work
from siltbook.checks.wording import rows_named
from siltbook.templates.book import USUAL_LIMIT

OTHER_FLOW = 0.1  # share by which a drop at the reference flow differs before it is told


def reason(verdict: Verdict, facts: Facts) -> str:
    """One sentence (or two) with figures and dates, and what explains a low field pressure."""
    main = _MAIN[verdict](facts)
    further = (_unread, _rules, _passed, _only_drop, _too_high, zero_outlet, still_outlet,
               _misplaced, _unplaced, _not_read)  # fmt: skip
    more = "".join(say(facts) for say in further)
    return f"{main}{_carried(facts)}{_low_field(verdict, facts)}{more}"


def _unread(facts: Facts) -> str:
    """Cells of the newest reading that may say the worse, where a blank one says nothing."""
    beside = unread_beside(facts)
    if not beside:
        return ""
    on = facts.on(facts.newest)
    return f" The reading of {on} has {_listed(beside)}: that may mean no flow, or no pressure."


def _rules(facts: Facts) -> str:
    """Rules that were typed and cannot be read, so that the station is judged by others."""
    lost = rules_not_read(facts) if facts.latest else ()
    if not lost:
        return ""
    what = f" What was typed as {_listed(lost)} cannot be used"
    return f"{what}, so the station is judged by other rules than were meant: correct it."


def _carried(facts: Facts) -> str:
    """That what the verdict rests on stood in last season's book; empty where it did not."""
    said = facts.history.carried
    if said is None or ("carried", said.row) not in facts.standing.rows:
        return ""
    since = f", over since {facts.shown.day(said.opened)}" if said.opened else ""
    return f" Carried over from last season{since}."


def _drop(facts: Facts) -> str:
    """The latest drop against the limit, as a clause."""
    if facts.latest is None:
        return "no usable reading yet"
    limit, excess = facts.history.station.limit, facts.drop - facts.history.station.limit
    on, say = facts.on(facts.latest), facts.shown
    digits = say.apart(facts.drop, limit)
    drop = f"drop {say.drop(facts.drop, digits)} on {on}"
    at = say.limit(limit, digits)
    if facts.over:
        return f"{drop}, {say.drop(excess, digits)} over the limit of {at}"
    return f"{drop}, within the limit of {at}"


def _sentence(*clauses: str) -> str:
    text = "; ".join(c for c in clauses if c)
    return f"{text[0].upper()}{text[1:]}."


def _listed(words: Sequence[str]) -> str:
    """'a', 'a and b', 'a, b and c'; empty for nothing."""
    return " and ".join(w for w in (", ".join(words[:-1]), *words[-1:]) if w)


def _cycles(work: Work) -> str:
    return "" if work.cycles is None else f" with {work.cycles:g} cycles"


def _escalate(facts: Facts) -> str:
    at = facts.standing
    called = f"help was called on {facts.on(at.called)}" if at.called else ""
    if at.gear is Gear.CONTROLLER_SUSPECT:
        part = (
            f"a new solenoid ({facts.on(at.new_solenoid)}) did not help" if at.new_solenoid else ""
        )
        signs = f"the flush of {facts.on(at.failed)} gave no signs" if at.failed else ""
        return _sentence(signs, part, "the controller is suspect", _drop(facts), called)
    flushed = f"flush of {facts.on(at.flushed)} and " if at.flushed else ""
    tried = (
        f"the {flushed}{at.cleaned.work} of {facts.on(at.cleaned)} did not help"
        if at.cleaned
        else ""
    )
    return _sentence(_drop(facts), tried, called)


def _hand_clean(facts: Facts) -> str:
    flush = facts.standing.flushed
    proven = (
        f"the flush of {facts.on(flush)}{_cycles(flush)} did not bring it down" if flush else ""
    )
    unseen = "whether it happened was not written down" if flush_unseen(facts) else ""
    return _sentence(_drop(facts), proven, unseen)


def _gear(facts: Facts) -> str:
    failed = facts.standing.failed
    missing = failed.missing_signs if failed else ()
    said = f"flush of {facts.on(failed)}: {_listed(missing) or 'its signs were missing'}"
    return _sentence(said if failed else "the solenoid is suspect", _drop(facts))


def _flush(facts: Facts) -> str:
    at = facts.standing
    if at.gear is Gear.AWAITS_PROOF and at.replaced is not None:
        proof = f"{at.replaced.work} on {facts.on(at.replaced)}, not yet proven by a complete flush"
        return _sentence(proof, _drop(facts))
    since = "no complete flush since"
    if at.opened is not None and at.opened is not facts.latest:
        since = f"over since {facts.on(at.opened)}, no complete flush since"
    if at.partial is not None:
        lacking = cycles_short(at.partial, facts.settings.flush_cycles)
        since += f"; the flush of {facts.on(at.partial)} was {lacking}"
    return _sentence(_drop(facts), since, _low_inlet(facts) if inlet_low(facts) else "")


def _supply(facts: Facts) -> str:
    low, latest = facts.standing.supply_low, facts.latest
    under, asked = facts.shown.under, facts.settings.flush_inlet
    if latest is not None and latest.inlet is not None and too_low_to_flush(facts):
        inlet, least = under(latest.inlet, asked)
        return _sentence(
            f"inlet {inlet} on {facts.on(latest)}, and a flush needs at least "
            f"{least}: it cannot work until the supply is back",
            _drop(facts),
        )
    if low is not None and low.flush_inlet is not None:
        inlet, least = under(low.flush_inlet, asked)
        fell = f"inlet fell to {inlet} in the flush of {facts.on(low)}"
        seen = " and ".join(low.missing_signs)
        unclear = f"at that inlet '{seen}' says nothing about solenoid or controller"
        return _sentence(
            f"{fell}, at least {least} is needed", unclear if seen else "", _drop(facts)
        )
    if low is not None and not low.row:
        said = f"inlet too low for a flush on {facts.on(low)}, in last season's book"
        return _sentence(said, f"at least {facts.shown.at_least(asked)} is needed", _drop(facts))
    return _sentence(_low_inlet(facts), _drop(facts))


def _low_inlet(facts: Facts) -> str:
    """The latest inlet against the station's lowest working inlet, as a clause."""
    latest = facts.latest
    if latest is None or latest.inlet is None:
        return ""
    wanted, usual = facts.history.station.working_inlet or 0.0, fallen_from(facts)
    on, say = facts.on(latest), facts.shown.level
    if facts.history.station.working_inlet is None and usual is not None:
        return f"inlet {say(latest.inlet)} on {on}, under half of the usual {say(usual)}"
    inlet, least = facts.shown.under(latest.inlet, wanted)
    return f"inlet {inlet} on {on}, lowest working inlet is {least}"


def _field(facts: Facts) -> str:
    latest, wanted = facts.latest, facts.history.station.wanted_field
    if latest is None or latest.field is None or wanted is None:
        return _sentence(_drop(facts))
    field, least = facts.shown.under(latest.field, wanted)
    low = f"field pressure {field} on {facts.on(latest)}"
    return _sentence(f"{low}, {least} is wanted", f"supply is fine and {_drop(facts)}")


def _inspect(facts: Facts) -> str:
    clean, latest = facts.history.station.clean_drop or 0.0, facts.latest
    flow = f" at {facts.shown.flow(latest.flow)}" if latest and latest.flow else ""
    on, say = facts.on(latest), facts.shown.drop
    return _sentence(
        f"drop {say(facts.drop)}{flow} on {on} is implausibly low for a clean drop of "
        f"{say(clean)}: torn or missing element, or an open bypass"
    )


def _re_read(facts: Facts) -> str:
    at, newest = facts.standing, facts.newest
    after_cleaning = at.step is Step.AWAITS_CLEANING_READING
    done = at.cleaned if after_cleaning else at.flushed
    what = done.work if after_cleaning and done else "cleaned" if after_cleaning else "flushed"
    since = (
        f"{what} on {facts.on(done)}, no usable reading since" if done else f"{what}, not yet read"
    )
    why = ""
    if newest is not None and not newest.usable:
        why = f"the reading of {facts.on(newest)} cannot be judged ({newest.why_unusable})"
    if at.step in (Step.AWAITS_FLUSH_READING, Step.AWAITS_CLEANING_READING):
        return _sentence(since, why, _drop(facts))
    if not why:
        return _plain(facts)
    return _sentence(why, f"before it: {_drop(facts)}" if facts.latest else "")


def _no_reading(facts: Facts) -> str:
    if facts.days_since is None:
        return "No usable reading in this book."
    asked = f"{facts.settings.interval:g} days"
    return _sentence(
        f"last usable reading {facts.days_since} days ago, asked every {asked}", _drop(facts)
    )


def _watch(facts: Facts) -> str:
    station = facts.history.station
    share = facts.drop / station.limit
    rise = facts.drop - (facts.drop if station.clean_drop is None else station.clean_drop)
    near, still, alike = "", outlet_still(facts.history), alike_on_end(facts.history)
    if over_at_reference(facts) and facts.latest is not None and facts.latest.flow:
        usual = known_flow(facts) or facts.latest.flow
        which = "usual" if station.reference_flow is None else "reference"
        near = (
            f"it was read at {100.0 * facts.latest.flow / usual:.0f} % of the {which} flow, "
            f"where {facts.shown.drop(at_known_flow(facts))} is over the limit: read again at the "
            "usual flow"
        )
    elif still is not None:
        near = still_words(still, facts.shown)
    elif alike is not None:
        near = alike_words(alike, facts.shown)
    elif both := over_and_in_range(facts.history):
        near = over_and_in_range_words(both)
    elif back_by_one_reading(facts) and not came_back_alone(facts):
        near = "back in range with no work logged, by one reading of which no flow is known"
    elif came_back_alone(facts):
        near = "back in range with no work logged, by less than the gauge can tell"
    elif share >= facts.settings.watch_share - 1e-9:
        near = f"{100.0 * share:.0f} % of the limit"
    elif rise > RISE_TO_WATCH:
        near = f"risen {facts.shown.drop(rise)} over the clean drop"
    return _sentence(_drop(facts), near, _expected(facts))


def _expected(facts: Facts) -> str:
    """The forecast as a clause; empty where it is silent."""
    expected = facts.expected
    if expected is None or expected.date is None or expected.low is None:
        return ""
    day, high = facts.shown.day, facts.shown.on(expected.high, "later than can be told")
    span = f"8 in 10: between {day(expected.low)} and {high}"
    if facts.as_of is not None and expected.low <= facts.as_of:
        until = f"8 in 10: by {high}; " if expected.high else ""
        span = f"{until}it may be over by now"
    return f"{_at_reference(facts)} at the limit about {day(expected.date)} ({span})"


def _at_reference(facts: Facts) -> str:
    """'expected', and at which drop where the forecast stands on a clearly other one."""
    at = at_reference(facts)
    if not abs(at - facts.drop) > OTHER_FLOW * facts.drop:  # nor where it is no number
        return "expected"
    return f"{facts.shown.drop(at)} at the reference flow, expected there"


def _passed(facts: Facts) -> str:
    """A sentence where the day that was expected at the limit has passed unread."""
    if facts.expected is None or facts.expected.passed is None:
        return ""
    day = facts.shown.day(facts.expected.passed)
    return f" Expected at the limit about {day}: that has passed, so it may be over by now."


def _only_drop(facts: Facts) -> str:
    """A sentence where the latest usable reading has no pressures: what was not judged."""
    if facts.latest is None or facts.latest.inlet is not None:
        return ""
    return " Only the drop was written down, so the supply could not be judged."


def _too_high(facts: Facts) -> str:
    """A sentence where the limit is so high that nothing is told by being within it."""
    if not limit_too_high(facts):
        return ""
    usual = facts.shown.limit(USUAL_LIMIT)
    return f" A filter usually counts as clogged at {usual}: check the unit of this limit."


def _misplaced(facts: Facts) -> str:
    """A sentence where a date that looks mistyped may hide the latest reading."""
    slip = facts.misplaced
    if slip is None:
        return ""
    typed, likely = facts.shown.day(slip.typed), facts.shown.day(slip.likely)
    return (
        f" The reading in row {slip.row} is dated {typed} and looks like one of {likely}"
        f" {slip.how}, so nobody knows which is the latest: correct its date."
    )


def _unplaced(facts: Facts) -> str:
    """A sentence where a row that belongs nowhere may hold the latest reading."""
    rows, gauges, said = facts.history.unplaced, facts.history.unplaced_gauges, ""
    # A row without a day, which has its station, is named where the sentence ends.
    work = [row for row, day in facts.lost_work if day is not None]
    if rows:
        said = (
            f" {rows_named(rows).capitalize()} of the readings could not be placed and may be the"
            " latest here: correct station or date."
        )
    if work:
        said += (
            f" {rows_named(work).capitalize()} of the work could not be placed and may be work"
            " here: correct station or date."
        )
    if gauges:
        said += (
            f" {rows_named(gauges).capitalize()} of the sheet Gauges could not be placed, so nobody"
            " knows in which unit the latest was read: correct station or date."
        )
    return said


def _not_read(facts: Facts) -> str:
    """A sentence for each sheet or table that was not read and may hold the station's latest."""
    said = ""
    for sheet, like, day in facts.not_read:
        what, to = f"A second table on {like}", "under the first"
        if sheet:
            what, to = f"The sheet {sheet} looks like {like},", f"to the sheet {like}"
        said += f" {what} was not read and has an entry here of {facts.shown.day(day)}:"
        said += f" move its rows {to}."
    return said


def _plain(facts: Facts) -> str:
    return _sentence(_drop(facts))


def _resting(facts: Facts) -> str:
    return _sentence("not in service", _drop(facts))


_MAIN = {
    Verdict.ESCALATE: _escalate,
    Verdict.HAND_CLEAN: _hand_clean,
    Verdict.CHECK_FLUSH_GEAR: _gear,
    Verdict.CHECK_SUPPLY: _supply,
    Verdict.CHECK_FIELD: _field,
    Verdict.FLUSH: _flush,
    Verdict.INSPECT_SCREEN: _inspect,
    Verdict.RE_READ: _re_read,
    Verdict.NO_READING: _no_reading,
    Verdict.WATCH: _watch,
    Verdict.IN_RANGE: _plain,
    Verdict.RESTING: _resting,
}


def _low_field(verdict: Verdict, facts: Facts) -> str:
    """Which of supply, filter and field side explains a low field pressure, in that order."""
    text = ""
    if field_low(facts):
        if inlet_low(facts):
            text = " Field pressure is low: the supply explains it (inlet low)."
        elif facts.over:
            text = " Field pressure is low: the filter explains it (drop over the limit)."
        elif verdict is not Verdict.CHECK_FIELD:
            text = " Field pressure is low: look beyond the filter."
    if leak_suspected(facts) and facts.latest is not None and facts.latest.flow is not None:
        reference = facts.history.station.reference_flow or facts.latest.flow
        more = 100.0 * (facts.latest.flow / reference - 1.0)
        text += f" Flow is {more:.0f} % above the reference flow: look for a leak."
    return text
