"""Which verdicts would change at another limit, or if every gauge were off by its class."""

from __future__ import annotations

from dataclasses import dataclass, replace

from siltbook.batch.assess import assess
from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment
from siltbook.templates.book import Book

LIMITS = (4.0, 6.0)  # [m]
CASES = ("limit 4 m", "limit 6 m", "gauges +class", "gauges -class")


@dataclass(frozen=True)
class Sensitivity:
    """One station: its verdict, and the verdict in each of `CASES`; None where it cannot be known.

    Where the gauge's class is unknown the last two are None.
    """

    station: str
    now: Verdict
    then: tuple[Verdict | None, ...]

    @property
    def changes(self) -> tuple[str, ...]:
        """The cases in which another verdict would come out."""
        return tuple(c for c, v in zip(CASES, self.then, strict=True) if v not in (None, self.now))


def sensitivity(now: Assessment) -> tuple[Sensitivity, ...]:
    """One row per station of a judged book, in its order of urgency."""
    book, as_of = now.book, now.as_of
    cases = [
        *(_at_limit(book, limit) for limit in LIMITS),
        *(_gauges_off(book, sign) for sign in (1.0, -1.0)),
    ]
    then = [
        {r.station.name: r.verdict for r in assess(case, as_of=as_of).stations} for case in cases
    ]
    found = []
    for result in now.stations:
        station = result.station
        known = station.gauge_class is not None and (
            station.gauges == "one gauge" or station.full_scale is not None
        )
        verdicts: list[Verdict | None] = [case[station.name] for case in then]
        if not known or station.gauges is None:
            verdicts[len(LIMITS) :] = [None, None]
        found.append(Sensitivity(station.name, result.verdict, tuple(verdicts)))
    return tuple(found)


def _at_limit(book: Book, limit: float) -> Book:
    settings = replace(book.settings, drop_limit=limit)
    register = book.stations.frame.assign(drop_limit=float("nan"))
    return replace(book, settings=settings, stations=replace(book.stations, frame=register))


def _gauges_off(book: Book, sign: float) -> Book:
    """Inlet up and outlet down by the class of full scale (`sign` +1), or the other way round.

    One gauge with a selector errs alike on both sides, so only its gain counts: the drop grows
    or shrinks by the class. All of it goes to the outlet, so that the supply is judged as it
    was read; a drop never falls under zero, nor an outlet.
    """
    register = book.stations.frame.dropna(subset=["station"]).drop_duplicates("station")
    register = register.set_index("station")
    frame = book.readings.frame
    gauges = frame["station"].map(register["gauges"])
    share = frame["station"].map(register["gauge_class"]).astype("float64") / 100.0
    scale = frame["station"].map(register["full_scale"]).astype("float64")
    drop = (frame["inlet"] - frame["outlet"]).fillna(frame["drop"])
    gain = (drop * share).where(gauges == "one gauge")
    both = (2.0 * share * scale).where(gauges == "two gauges")
    change = (sign * gain.fillna(both)).fillna(0.0)
    changed = (drop + change).clip(lower=drop.clip(upper=0.0)).clip(upper=frame["inlet"])
    alone = frame["drop"].notna()  # read without its pressures
    readings = frame.assign(
        outlet=frame["inlet"] - changed, drop=frame["drop"].mask(alone, changed)
    )
    return replace(book, readings=replace(book.readings, frame=readings))
