"""The steps that the ladder asked for, counted for each station and for each person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from siltbook.batch.audit.model import Place, RuleResult, Taken
from siltbook.templates.names import name_key

# The rules that count steps which the ladder asked for, each once.
STEPS = ("flush-in-a-day", "read-after", "cleaned-in-time", "gear-in-time", "called-in-time")
NOBODY = "(no name)"


@dataclass(frozen=True)
class StepCount:
    """Steps asked for at one station, or of one person, and what became of them."""

    name: str
    taken: Counter[Taken]

    @property
    def asked(self) -> int:
        """How many steps were asked for."""
        return self.taken.total()


def by_station(results: Iterable[RuleResult]) -> tuple[StepCount, ...]:
    """A count for each station at which a step was asked for, most steps not in time first."""
    return _counts(results, lambda place: place.station)


def by_person(results: Iterable[RuleResult]) -> tuple[StepCount, ...]:
    """A count for each person: who took the step, or logged the entry that asked for it.

    The second where nobody took it: a name beside a step that was not taken says who knew first,
    not whose step it was.
    """
    return _counts(results, lambda place: place.person or NOBODY)


def _counts(
    results: Iterable[RuleResult], name_of: Callable[[Place], str]
) -> tuple[StepCount, ...]:
    found: dict[str, tuple[str, Counter[Taken]]] = {}
    for result in results:
        for place in result.places if result.rule.code in STEPS else ():
            if place.taken is not None:
                name = name_of(place)
                found.setdefault(name_key(name), (name, Counter()))[1][place.taken] += 1
    counts = (StepCount(name, taken) for name, taken in found.values())
    return tuple(sorted(counts, key=_order))


def _order(count: StepCount) -> tuple[int, int, str]:
    open_ = count.taken[Taken.NOT_TAKEN]
    return -open_ - count.taken[Taken.LATE], -open_, count.name
