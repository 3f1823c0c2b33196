"""The ladder: from one station's history to where it stands.

A pure function of the history: `climb` scans the entries and returns the `Standing`, which the
verdict and its sentence are then drawn from. See docs/method.md for the table of steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from enum import StrEnum

from siltbook.batch.model import CLEANINGS, Episode, History, Reading, Work, is_over
from siltbook.checks.gauges import NOISE

SOON, OFTEN = 7, 30  # [days] from one episode's end to the next, and over three of them
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
    supply_low: Work | None = None  # the flush whose inlet fell too low
    partial: Work | None = None  # the last flush with too few cycles
    opened: Reading | None = None  # the reading that opened the episode
    flushed: Work | None = None  # the complete flush of this episode
    cleaned: Work | None = None
    failed: Work | None = None  # the last flush without its signs
    new_solenoid: Work | None = None  # since the suspicion began
    replaced: Work | None = None  # the part that awaits proof
    called: Work | None = None
    last_work: Work | None = None  # in this episode
    episodes: tuple[Episode, ...] = ()
    rows: tuple[tuple[str, int], ...] = field(default=())


def missing_cycles(flush: Work, asked: int) -> int:
    """How many cycles a flush lacks; a blank is no fewer (the check asks for it)."""
    return 0 if flush.cycles is None else max(0, asked - int(flush.cycles))


def climb(history: History, *, flush_cycles: int, flush_inlet: float) -> Standing:
    """Scan a history in order. `flush_inlet` [m] is the least inlet during a flush."""
    standing = Standing()
    for _, _, after in steps(history, flush_cycles=flush_cycles, flush_inlet=flush_inlet):
        standing = after
    return standing


def steps(
    history: History, *, flush_cycles: int, flush_inlet: float
) -> Iterator[tuple[Reading | Work, Standing, Standing]]:
    """Every entry with the standing before and after it; arguments as for `climb`."""
    standing = Standing()
    for entry in history.entries:
        before = standing
        if isinstance(entry, Reading):
            if entry.usable and entry.drop is not None:
                standing = _read(standing, entry, entry.drop, history.station.limit)
        elif entry.work == "flush":
            standing = _flush(standing, entry, flush_cycles, flush_inlet)
        else:
            standing = _other_work(standing, entry)
        yield entry, before, standing


def _noted(standing: Standing, sheet: str, row: int) -> tuple[tuple[str, int], ...]:
    return (*standing.rows, (sheet, row))


_AFTER_OVER = {
    Step.CLEAR: Step.NEEDS_FLUSH,
    Step.AWAITS_FLUSH_READING: Step.NEEDS_CLEANING,
    Step.AWAITS_CLEANING_READING: Step.NEEDS_ESCALATION,
}


def _read(standing: Standing, reading: Reading, drop: float, limit: float) -> Standing:
    if not is_over(drop, limit):
        return _close(standing, reading)
    step = _AFTER_OVER.get(standing.step, standing.step)
    if standing.step is Step.CLEAR:
        opened = Episode(reading.date, None, "", reading.row)
        return replace(
            standing,
            step=step,
            opened=reading,
            episodes=(*standing.episodes, opened),
            rows=(*_gear_rows(standing), ("readings", reading.row)),
        )
    return replace(standing, step=step, rows=_noted(standing, "readings", reading.row))


def _gear_rows(standing: Standing) -> tuple[tuple[str, int], ...]:
    """Rows of an open question about the gear outlive the episode that raised it."""
    if standing.gear is Gear.TRUSTED:
        return ()
    kept = (standing.failed, standing.new_solenoid, standing.replaced)
    return tuple(dict.fromkeys(("work", w.row) for w in kept if w is not None))


def _close(standing: Standing, reading: Reading) -> Standing:
    episodes = standing.episodes
    if standing.step is not Step.CLEAR:
        by = standing.last_work.work if standing.last_work else "no work logged"
        episodes = (*episodes[:-1], replace(episodes[-1], closed=reading.date, closed_by=by))
    called = standing.called if standing.gear is Gear.CONTROLLER_SUSPECT else None
    return Standing(
        gear=standing.gear,
        failed=standing.failed,
        new_solenoid=standing.new_solenoid,
        replaced=standing.replaced,
        called=called,
        episodes=episodes,
        rows=(*_gear_rows(standing), ("readings", reading.row)),
    )


def _flush(standing: Standing, flush: Work, cycles: int, inlet: float) -> Standing:
    standing = replace(standing, rows=_noted(standing, "work", flush.row))
    if flush.missing_signs:
        return _without_signs(standing, flush)
    partial = missing_cycles(flush, cycles) > 0
    low = flush.flush_inlet is not None and flush.flush_inlet < inlet - NOISE
    needed = standing.step is Step.NEEDS_FLUSH
    if partial or low:
        return replace(
            standing,
            partial=flush if partial and needed else standing.partial,
            supply_low=flush if low and needed else standing.supply_low,
            last_work=flush,
        )
    return replace(
        standing,
        step=Step.AWAITS_FLUSH_READING if needed else standing.step,
        gear=Gear.TRUSTED,
        supply_low=None,
        partial=None,
        failed=None,
        new_solenoid=None,
        replaced=None,
        flushed=flush,
        last_work=flush,
    )


def _without_signs(standing: Standing, flush: Work) -> Standing:
    proven_not_solenoid = standing.new_solenoid is not None
    stays = standing.gear is Gear.CONTROLLER_SUSPECT
    gear = Gear.CONTROLLER_SUSPECT if proven_not_solenoid or stays else Gear.SOLENOID_SUSPECT
    return replace(standing, gear=gear, failed=flush, last_work=flush)


def _other_work(standing: Standing, work: Work) -> Standing:
    if work.work == "other":
        return standing
    standing = replace(standing, rows=_noted(standing, "work", work.row))
    if work.work == "called out":
        return replace(standing, called=work)
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
