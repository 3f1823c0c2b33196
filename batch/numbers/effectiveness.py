"""What cleaning work is worth: the share of the rise over clean that it gives back, and the creep.

Give-back = (before - after) / (before - clean), of every complete flush and every hand cleaning
that stands between two runs. It counts only where it can be known: the reading
before is at most one reading interval older than the work, the reading after at most
LATEST_AFTER days younger, and the rise it could give back is at least LEAST_RISE [m] and three
standard uncertainties of a drop at the reference flow (`runs`). 1 = clean again, 0 = no help.

The creep of the clean drop is the robust slope (Theil-Sen, 80 % interval) of the levels read
after each cleaning by hand since the element was last replaced. An element that no longer comes
clean creeps up.

Drops are those of the runs: at the reference flow where the flow is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median

from siltbook.batch.model import CLEANINGS, Station
from siltbook.batch.numbers.robust import theil_sen
from siltbook.batch.numbers.runs import FELL, Run
from siltbook.templates.shown import IN_METRES, Shown

LATEST_AFTER = 3.0  # [days] from the work to the reading after it
LEAST_RISE = 0.5  # [m]
CREEP_SIGMAS = 3.0  # of a clean level, that a creep must exceed to be worth a sentence
LATEST_FLUSHES = 3  # the latest ones, held against those before and against cleanings
LEAST_EARLIER = 3
LEAST_CLEANINGS = 2
FAR_BELOW = 0.5  # times the earlier median, or the cleanings' one
LEAST_LEVELS = 4
LEAST_SPAN = 30.0  # [days]
CREEP_SHARE = 0.1  # of the limit: a creep by less over the season is not worth a sentence


@dataclass(frozen=True)
class SharesGivenBack:
    """Shares given back [-]: how many could be known, their median, lowest and highest.

    `silent` says why there is none.
    """

    count: int
    median: float | None
    low: float | None
    high: float | None
    silent: str = ""


@dataclass(frozen=True)
class Creep:
    """Slope of the clean drop [m/day] with its 80 % interval, from `levels` cleanings.

    `span` [days] from the first to the last of them. `silent` says why there is no slope. `u` [m]:
    standard uncertainty of one such level at the reference flow, the median; 0 where unknown.
    """

    m_per_day: float | None
    low: float | None
    high: float | None
    levels: int
    span: float
    silent: str
    u: float = 0.0


@dataclass(frozen=True)
class Effectiveness:
    """What flushing and cleaning one station is worth; `notes` are sentences for people.

    `flushing_helps` is False where a note says that flushing stopped helping, or helps little.
    """

    flush: SharesGivenBack
    cleaning: SharesGivenBack
    creep: Creep
    notes: tuple[str, ...]
    flushing_helps: bool = True


def cleaning_effectiveness(
    station: Station, runs: Sequence[Run], interval: float, shown: Shown = IN_METRES
) -> Effectiveness:
    """What the runs of one station, in order, say of its cleaning work.

    `interval` [days]: the farm's reading interval; `shown`: the unit of the sentences.
    """
    flushes = _shares(station, runs, ("flush",), interval)
    cleanings = _shares(station, runs, ("hand cleaning",), interval)
    creep = clean_creep(runs)
    flushing = _flush_notes(flushes, cleanings)
    notes = (*flushing, *_creep_notes(creep, station.limit, shown), *_cleaner_notes(runs))
    clean = station.clean_drop
    given = _give_back(flushes, clean), _give_back(cleanings, clean)
    return Effectiveness(*given, creep, notes, not flushing)


def _shares(
    station: Station, runs: Sequence[Run], works: tuple[str, ...], interval: float
) -> list[float]:
    """What each of these works gave back, in order of time, where it can be known."""
    clean = station.clean_drop
    found = []
    for run, after in pairwise(runs):
        if clean is None or run.given_back is None or run.concluded or run.ended_by not in works:
            continue
        waited = (run.ends - run.begins).days - run.days[-1]
        fresh = waited <= interval + 0.5 and after.days[0] <= LATEST_AFTER + 0.5
        if fresh and run.drops[-1] - clean >= LEAST_RISE:
            found.append(run.given_back)
    return found


def _give_back(shares: Sequence[float], clean: float | None) -> SharesGivenBack:
    if not shares:
        why = "none read soon before and after" if clean is not None else "no clean drop"
        return SharesGivenBack(0, None, None, None, why)
    return SharesGivenBack(len(shares), median(shares), min(shares), max(shares))


def clean_creep(runs: Sequence[Run]) -> Creep:
    """The creep of the levels after cleanings by hand, since the element was last replaced."""
    replaced = [i for i, run in enumerate(runs) if run.opened_by == "screen replaced"]
    cleaned = [
        run
        for run in runs[replaced[-1] if replaced else 0 :]
        if run.opened_by in CLEANINGS and run.days[0] <= LATEST_AFTER + 0.5
    ]
    days = [run.begins.toordinal() + run.days[0] for run in cleaned]
    span = days[-1] - days[0] if days else 0.0
    if len(cleaned) < LEAST_LEVELS:
        counted = f"{len(cleaned)} cleaning{'' if len(cleaned) == 1 else 's'} read soon after"
        return Creep(None, None, None, len(cleaned), span, f"{counted}, {LEAST_LEVELS} are needed")
    if span < LEAST_SPAN:
        short = f"{len(cleaned)} cleanings within {span:.0f} days, {LEAST_SPAN:.0f} are needed"
        return Creep(None, None, None, len(cleaned), span, short)
    line = theil_sen(days, [run.start_level for run in cleaned])
    u = median(run.u_start or 0.0 for run in cleaned)
    return Creep(line.slope, line.low, line.high, len(cleaned), span, "", u)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _flush_notes(flushes: Sequence[float], cleanings: Sequence[float]) -> tuple[str, ...]:
    """A sentence where the latest flushes help far less than earlier ones or than cleanings."""
    latest, earlier = flushes[-LATEST_FLUSHES:], flushes[:-LATEST_FLUSHES]
    if len(latest) < LATEST_FLUSHES:
        return ()
    now = f"the latest {len(latest)} flushes gave back {_percent(median(latest))} of the rise"
    if len(earlier) >= LEAST_EARLIER and _far_below(latest, earlier):
        before = f"the {len(earlier)} before them {_percent(median(earlier))}"
        return (f"Flushing stopped helping: {now} over clean, {before}; plan a hand cleaning.",)
    if len(cleanings) >= LEAST_CLEANINGS and _far_below(latest, cleanings):
        by_hand = f"{len(cleanings)} hand cleanings {_percent(median(cleanings))}"
        return (f"Flushing helps little: {now} over clean, {by_hand}; plan a hand cleaning.",)
    return ()


def _far_below(latest: Sequence[float], others: Sequence[float]) -> bool:
    """Every one below all the others, and their median under half of the others'."""
    return max(latest) < min(others) and median(latest) < FAR_BELOW * median(others)


def _creep_notes(creep: Creep, limit: float, shown: Shown) -> tuple[str, ...]:
    if creep.m_per_day is None or creep.low is None or creep.high is None or creep.low <= 0:
        return ()
    risen = creep.m_per_day * creep.span
    if risen < max(CREEP_SHARE * limit, CREEP_SIGMAS * creep.u):
        return ()
    low, high = (shown.coarse(end * creep.span) for end in (creep.low, creep.high))
    return (
        f"The element no longer comes clean: over {creep.span:.0f} days the drop after "
        f"{creep.levels} cleanings crept up by about {shown.coarse(risen)} (8 in 10: "
        f"{low.split()[0]} to {high}); look at it closely, "
        "and replace it if need be.",
    )


def _cleaner_notes(runs: Sequence[Run]) -> tuple[str, ...]:
    """That the register's clean drop is too high, where works left less than it.

    A fall that no work explains has a finding of its own, and says nothing of the clean drop.
    """
    left = sum(run.left_cleaner and run.ended_by != FELL for run in runs)
    if not left:
        return ()
    works = "one work" if left == 1 else f"{left} works"
    return (
        f"After {works} the drop was under the clean drop of the register by more than the gauge "
        "can err: look whether the element is whole, and if it is, enter the lower clean drop.",
    )
