"""The ladder: from one station's history to where it stands.

A pure function of the history: `replay_ladder` scans the entries and returns the `Standing`, which
the verdict and its sentence are then drawn from. See docs/method.md for the table of steps.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum

from siltbook.batch.model import (
    CLEANINGS,
    CLEARS,
    NO_WORK,
    SAME_BOTH_SIDES,
    CarriedOver,
    Episode,
    History,
    Reading,
    Work,
    is_over,
)
from siltbook.checks.gauges import NOISE

SOON, OFTEN = 7, 30  # [days] from one episode's end to the next, and over three of them
HALF = 0.5  # of the limit, over which a drop does not vanish by itself
RISE_TO_WATCH = 3.5  # [m] over the clean drop; upper end of the published 3-5 psi rise


class Step(StrEnum):
    """Where a station stands on the ladder."""

    CLEAR = "clear"
    NEEDS_FLUSH = "needs flush"
    AWAITS_FLUSH_READING = "awaiting reading after flush"
    NEEDS_CLEANING = "needs hand cleaning"
    AWAITS_CLEANING_READING = "awaiting reading after cleaning"
    NEEDS_ESCALATION = "needs escalation"


class Gear(StrEnum):
    """What is known of solenoid and controller."""

    TRUSTED = "trusted"
    SOLENOID_SUSPECT = "solenoid suspect"
    CONTROLLER_SUSPECT = "controller suspect"
    AWAITS_PROOF = "awaiting proof"


@dataclass(frozen=True)
class Standing:
    """Where a station stands after its last entry; `rows` are what that rests on."""

    step: Step = Step.CLEAR
    gear: Gear = Gear.TRUSTED
    supply_low: Work | None = None  # the last flush whose inlet fell too low
    partial: Work | None = None  # the last flush with too few cycles
    opened: Reading | None = None  # the reading that opened the episode
    flushed: Work | None = None  # the complete flush of this episode
    cleaned: Work | None = None
    failed: Work | None = None  # the last flush without its signs
    new_solenoid: Work | None = None  # since the suspicion began
    replaced: Work | None = None  # the part that awaits proof
    called: Work | None = None
    last_work: Work | None = None  # in this episode
    untrusted: dt.date | None = None  # of a reading with both sides alike that was not taken
    worked: bool = False  # work since the last reading that was taken
    drop: float = 0.0  # of the last reading that was taken [m]
    episodes: tuple[Episode, ...] = ()
    rows: tuple[tuple[str, int], ...] = field(default=())

    @property
    def episode(self) -> Episode | None:
        """The latest episode, open or ended."""
        return self.episodes[-1] if self.episodes else None


def missing_cycles(flush: Work, asked: int) -> int:
    """How many cycles [-] a flush lacks of those `asked`; a blank is no fewer (the check asks)."""
    return 0 if flush.cycles is None else max(0, asked - int(flush.cycles))


def cycles_short(flush: Work, asked: int) -> str:
    """What a flush lacks of the cycles `asked` [-], in words: '1 cycle short'."""
    lacking = missing_cycles(flush, asked)
    return f"{lacking} {'cycle' if lacking == 1 else 'cycles'} short"


def replay_ladder(history: History, *, flush_cycles: int, flush_inlet: float) -> Standing:
    """Scan a history in order.

    `flush_cycles`: cycles of a whole flush [-], 1 or more. `flush_inlet`: the least inlet during
    a flush [m], above 0.
    """
    return scanned(history, flush_cycles=flush_cycles, flush_inlet=flush_inlet)[1]


def steps(
    history: History, *, flush_cycles: int, flush_inlet: float
) -> Iterator[tuple[Reading | Work, Standing, Standing]]:
    """Every entry with the standing before and after it.

    A reading that says nothing where it stands comes back with its reason (`both_sides_alike`).
    `flush_cycles` [-] and `flush_inlet` [m] as for `replay_ladder`.
    """
    standing, days = _carried(history.carried), _worked_on(history)
    least = flush_cycles, flush_inlet
    for entry in history.entries:
        before = standing
        entry, standing = _step(standing, entry, history.station.limit, days, least)
        yield entry, before, standing


def _worked_on(history: History) -> dict[dt.date, str]:
    """The first cleaning work of each day."""
    return {w.date: w.work for w in reversed(history.work) if w.work in CLEARS}


def _step(
    standing: Standing,
    entry: Reading | Work,
    limit: float,
    days: dict[dt.date, str],
    least: tuple[int, float],
) -> tuple[Reading | Work, Standing]:
    """An entry as it counts, and the standing after it; `least`: cycles and inlet of a flush."""
    if isinstance(entry, Reading):
        if both_sides_alike(entry) and _doubted(standing, entry, limit):
            entry = replace(entry, why_unusable=SAME_BOTH_SIDES)
            standing = replace(standing, untrusted=entry.date, worked=False)
        elif entry.usable and entry.drop is not None:
            standing = _read(standing, entry, limit, days.get(entry.date))
    elif entry.work == "flush":
        standing = _flush(standing, entry, *least)
    else:
        standing = _other_work(standing, entry)
    return entry, standing


def settled(
    history: History, *, flush_cycles: int, flush_inlet: float
) -> tuple[Reading | Work, ...]:
    """The entries with every reading marked that the ladder does not take where it stands.

    Settling again changes nothing. `flush_cycles` [-] and `flush_inlet` [m] as for `replay_ladder`.
    """
    return scanned(history, flush_cycles=flush_cycles, flush_inlet=flush_inlet)[0]


def scanned(
    history: History, *, flush_cycles: int, flush_inlet: float
) -> tuple[tuple[Reading | Work, ...], Standing]:
    """`settled` and `replay_ladder` in one scan; `flush_cycles` [-], `flush_inlet` [m] as there."""
    standing, days = _carried(history.carried), _worked_on(history)
    least, limit = (flush_cycles, flush_inlet), history.station.limit
    entries: list[Reading | Work] = []
    waiting: Reading | None = None  # the last of in-range readings while nothing is open
    for entry in history.entries:
        if standing.step is Step.CLEAR and isinstance(entry, Reading) and _calm(entry, limit):
            waiting = entry
        else:
            if waiting is not None:
                standing, waiting = _close(standing, waiting, None), None
            entry, standing = _step(standing, entry, limit, days, least)
        entries.append(entry)
    if waiting is not None:
        standing = _close(standing, waiting, None)
    return tuple(entries), standing


def _calm(reading: Reading, limit: float) -> bool:
    """A reading that counts and is in range. Of several in a row while nothing is open, the last
    says what all of them say."""
    drop = reading.drop
    if drop is None or reading.why_unusable or is_over(drop, limit):
        return False
    return abs(drop) > NOISE or not both_sides_alike(reading)


def both_sides_alike(reading: Reading) -> bool:
    """Inlet and outlet read the same above zero, and nobody read whether water flowed.

    So it looks, too, where a valve is shut or the selector was not turned.
    """
    if reading.drop is None or abs(reading.drop) > NOISE:
        return False
    plain = reading.usable or reading.why_unusable == SAME_BOTH_SIDES
    return plain and reading.flow is None and bool(reading.inlet)


def _doubted(standing: Standing, reading: Reading, limit: float) -> bool:
    """Whether such a reading is to be taken once more.

    It would end an episode, follows work, or follows a drop over half the `limit` [m].

    A second one on another day counts, where nobody worked in between.
    """
    if standing.untrusted is not None and not standing.worked:
        return reading.date == standing.untrusted
    far = standing.drop > HALF * limit  # no filter comes from there to nothing by itself
    return standing.step is not Step.CLEAR or standing.worked or far


def _carried(said: CarriedOver | None) -> Standing:
    """Where the scan starts: clear, or where the station stood at the end of last season."""
    if said is None:
        return Standing()

    def work(day: dt.date | None, what: str) -> Work | None:
        return None if day is None else Work(0, day, None, what)

    step, gear = Step(said.step), Gear(said.gear)
    solenoid = work(said.solenoid, "solenoid replaced")
    controller = work(said.controller, "controller replaced")
    flushed, cleaned = work(said.flushed, "flush"), work(said.cleaned, "hand cleaning")
    begun = said.opened or said.flushed or said.cleaned
    open_ = step is not Step.CLEAR and begun is not None
    return Standing(
        step=step,
        gear=gear,
        flushed=flushed,
        cleaned=cleaned,
        failed=work(said.failed, "flush"),
        new_solenoid=solenoid,
        replaced=(controller or solenoid) if gear is Gear.AWAITS_PROOF else None,
        called=work(said.called, "called out"),
        supply_low=work(said.supply, "flush"),
        last_work=cleaned or flushed,
        worked=step in (Step.AWAITS_FLUSH_READING, Step.AWAITS_CLEANING_READING),
        episodes=(Episode(begun, None, ""),) if open_ and begun is not None else (),
        rows=(("carried", said.row),),
    )


def _noted(standing: Standing, sheet: str, row: int) -> tuple[tuple[str, int], ...]:
    return (*standing.rows, (sheet, row))


_AFTER_OVER = {
    Step.CLEAR: Step.NEEDS_FLUSH,
    Step.AWAITS_FLUSH_READING: Step.NEEDS_CLEANING,
    Step.AWAITS_CLEANING_READING: Step.NEEDS_ESCALATION,
}


def _read(standing: Standing, reading: Reading, limit: float, worked_on: str | None) -> Standing:
    """`worked_on`: cleaning work of the reading's own day, whichever of the two came first."""
    if not is_over(reading.drop or 0.0, limit):
        return _close(standing, reading, worked_on)
    step = _AFTER_OVER.get(standing.step, standing.step)
    if standing.step is Step.CLEAR:
        opened = Episode(reading.date, None, "", reading.row)
        # What was logged while the station was clear is evidence in no episode.
        return replace(
            _gear_alone(standing, reading, (*standing.episodes, opened)), step=step, opened=reading
        )
    rows = _noted(standing, "readings", reading.row)
    drop = reading.drop or 0.0
    return replace(standing, step=step, untrusted=None, worked=False, drop=drop, rows=rows)


def _gear_alone(standing: Standing, reading: Reading, episodes: tuple[Episode, ...]) -> Standing:
    """What outlives an episode: open questions about the gear, and the episodes so far."""
    return Standing(
        gear=standing.gear,
        failed=standing.failed,
        new_solenoid=standing.new_solenoid,
        replaced=standing.replaced,
        called=standing.called if standing.gear is Gear.CONTROLLER_SUSPECT else None,
        drop=reading.drop or 0.0,
        episodes=episodes,
        rows=(*_gear_rows(standing), ("readings", reading.row)),
    )


def _gear_rows(standing: Standing) -> tuple[tuple[str, int], ...]:
    """Rows of an open question about the gear outlive the episode that raised it."""
    if standing.gear is Gear.TRUSTED:
        return ()
    kept = (standing.failed, standing.new_solenoid, standing.replaced)
    rows = [("work", w.row) for w in kept if w is not None and w.row]
    carried = [at for at in standing.rows if at[0] == "carried"]
    return tuple(dict.fromkeys((*carried, *rows)))


def _close(standing: Standing, reading: Reading, worked_on: str | None) -> Standing:
    episodes = standing.episodes
    if standing.step is not Step.CLEAR and episodes:
        by = standing.last_work.work if standing.last_work else worked_on or NO_WORK
        episodes = (*episodes[:-1], replace(episodes[-1], closed=reading.date, closed_by=by))
    return _gear_alone(standing, reading, episodes)


def _flush(standing: Standing, flush: Work, cycles: int, inlet: float) -> Standing:
    rows = _noted(standing, "work", flush.row)
    standing = replace(standing, last_work=flush, worked=True, rows=rows)
    partial = missing_cycles(flush, cycles) > 0
    needed = standing.step is Step.NEEDS_FLUSH
    if flush.flush_inlet is not None and flush.flush_inlet < inlet - NOISE:
        return _low_flush(standing, flush, partial=partial)
    if flush.missing_signs:
        return _without_signs(standing, flush)
    if partial:
        return replace(standing, partial=flush if needed else standing.partial)
    return replace(
        _proven(standing),
        step=Step.AWAITS_FLUSH_READING if needed else standing.step,
        supply_low=None,
        partial=None,
        flushed=flush,
    )


def _low_flush(standing: Standing, flush: Work, *, partial: bool) -> Standing:
    """A flush at too low an inlet: no complete one, and no evidence against the gear.

    Click and water at the outlet prove the gear all the same.
    """
    short = partial or bool(flush.missing_signs)
    if short or standing.step is Step.NEEDS_FLUSH:
        standing = replace(standing, supply_low=flush)
    if partial and standing.step is Step.NEEDS_FLUSH:
        standing = replace(standing, partial=flush)
    return _proven(standing) if flush.click and flush.water and not short else standing


def _proven(standing: Standing) -> Standing:
    """The gear was seen to work: nothing is suspect, nothing awaits proof."""
    return replace(standing, gear=Gear.TRUSTED, failed=None, new_solenoid=None, replaced=None)


def _without_signs(standing: Standing, flush: Work) -> Standing:
    proven_not_solenoid = standing.new_solenoid is not None
    stays = standing.gear is Gear.CONTROLLER_SUSPECT
    gear = Gear.CONTROLLER_SUSPECT if proven_not_solenoid or stays else Gear.SOLENOID_SUSPECT
    return replace(standing, gear=gear, failed=flush)


def _other_work(standing: Standing, work: Work) -> Standing:
    if work.work == "other":
        return replace(standing, worked=True)
    standing = replace(standing, rows=_noted(standing, "work", work.row))
    if work.work == "called out":
        return replace(standing, called=work)
    standing = replace(standing, worked=True)
    if work.work in CLEANINGS:
        if standing.step is Step.CLEAR:
            return standing
        return replace(
            standing,
            step=Step.AWAITS_CLEANING_READING,
            supply_low=None,
            partial=None,
            cleaned=work,
            last_work=work,
        )
    solenoid = work if work.work == "solenoid replaced" else standing.new_solenoid
    return replace(
        standing, gear=Gear.AWAITS_PROOF, new_solenoid=solenoid, replaced=work, last_work=work
    )


def recurring(episodes: tuple[Episode, ...]) -> tuple[tuple[Episode, ...], ...]:
    """Every three episodes on end that opened within OFTEN days, each soon after the last.

    An episode counts where it opens within SOON days of the last one's closing.
    """
    found = []
    for i in range(2, len(episodes)):
        soon = all(
            closed is not None and (episodes[k].opened - closed).days <= SOON
            for k in (i - 1, i)
            for closed in (episodes[k - 1].closed,)
        )
        if soon and (episodes[i].opened - episodes[i - 2].opened).days <= OFTEN:
            found.append(episodes[i - 2 : i + 1])
    return tuple(found)
