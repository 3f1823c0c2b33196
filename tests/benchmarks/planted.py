"""What the audit finds of faults planted in honest seasons, and how often its power line is right.

`python -m tests.benchmarks.planted` plants each fault of `tests.benchmarks.faults`, in three
strengths, in seasons of 12 and 26 weeks on farms whose gauges are coarse, usual and fine, and
prints the tables that stand in docs/audit.md: how many are found, how often the whole answer on
an honest season says that something has to be explained, and what the power line foretold beside
what was found. `SEEDS` are those that no rule was ever looked at with.

A fault is found where, at the station that it touched or of the farm as a whole, a rule has more
to look at than on the same season without it.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import cache, partial
from multiprocessing import get_context

from siltbook.batch.audit.model import Question, RuleResult, State
from siltbook.batch.audit.own_findings import book_findings
from siltbook.batch.audit.power import COARSER, FILLED, STUCK, power
from siltbook.batch.audit.procedure import procedure
from siltbook.batch.audit.tracks import tracks
from siltbook.batch.audit.trust import trust
from siltbook.batch.numbers.history import histories
from siltbook.checks.fitness import check_book
from siltbook.templates.book import Book
from tests.benchmarks.audit import Rows, season
from tests.benchmarks.faults import ALL, FAULTS, Fault

GAUGES = {"coarse": 0.05, "usual": 0.02, "fine": 0.01}  # [bar], one division
WEEKS = (12, 26)
SEEDS = range(91_000, 91_020)
STATIONS = 6
# What the power line names -> the fault and the strength that come nearest to it.
FORETOLD = {
    f"a gauge stuck for {STUCK} readings": (("inlet stuck", STUCK), ("outlet stuck", STUCK)),
    f"{FILLED} rows filled down": (("rows filled down", FILLED),),
    f"pressures guessed to {COARSER} divisions": (("both sides rounded", 0),),
    "a station's readings taken from another's": (("a station read off another's sheet", ALL),),
}


def asked(rows: Rows) -> tuple[Book, list[RuleResult]]:
    """The season's book, and every rule of the first two questions on it."""
    book = rows.book()
    on = max(book.readings.frame["date"])
    found = histories(book, on)
    own = book_findings(tuple(check_book(book, on)), len(book.readings.frame))
    data = trust(book, found, tracks(book, found), on)
    return book, [own, *data, *procedure(book, found, on)]


def open_places(results: Sequence[RuleResult]) -> Counter[tuple[str, str]]:
    """(rule, station) -> what there is to look at; rules that look count once for the farm."""
    counts = Counter((r.rule.code, p.station) for r in results for p in r.places if not p.holds)
    counts.update((r.rule.code, "") for r in results if r.state is State.LOOK)
    return counts


@cache
def honest(seed: int, gauge: float, weeks: int) -> Counter[tuple[str, str]]:
    """What there is to look at on a season without a fault."""
    return open_places(asked(of(seed, gauge, weeks))[1])


def of(seed: int, gauge: float, weeks: int, *, slips: bool = True) -> Rows:
    """One honest season of this benchmark."""
    return season(seed, division=gauge, weeks=weeks, stations=STATIONS, slips=slips)


def is_found(fault: Fault, strength: int, seed: int, gauge: float, weeks: int) -> bool:
    """Whether the audit finds one planted fault."""
    rows = of(seed, gauge, weeks)
    touched = set(fault.plant(rows, strength))
    if not touched or not rows.readings:
        return False
    more = open_places(asked(rows)[1]) - honest(seed, gauge, weeks)
    return any(station in touched or not station for _, station in more)


def share(fault: Fault, strength: int, gauge: float, weeks: int, seeds: Sequence[int]) -> float:
    """The share of seasons in which the fault is found."""
    return sum(is_found(fault, strength, s, gauge, weeks) for s in seeds) / len(seeds)


def table(seeds: Sequence[int]) -> Iterator[str]:
    """Fault by fault: the shares found [%] at the three strengths, for each gauge and length."""
    heads = [f"{name}, {weeks} weeks" for name in GAUGES for weeks in WEEKS]
    yield f"| planted | weak / medium / strong | {' | '.join(heads)} |"
    yield f"|---|---|{'---|' * len(heads)}"
    # A fault's plant is a function made in place, which no process can be sent: its number goes.
    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        yield from pool.map(partial(row_of, seeds), range(len(FAULTS)))


def row_of(seeds: Sequence[int], number: int) -> str:
    """One row of the table."""
    fault = FAULTS[number]
    cells = [
        " / ".join(f"{100 * share(fault, s, gauge, weeks, seeds):.0f}" for s in fault.strengths)
        for gauge in GAUGES.values() for weeks in WEEKS
    ]  # fmt: skip
    told = " / ".join("all" if s == ALL else str(s) for s in fault.strengths)
    return f"| {fault.words} | {told} {fault.unit} | {' | '.join(cells)} |"


def foretold(seeds: Sequence[int]) -> Iterator[str]:
    """What the power line says on honest seasons [%] beside what was found [%]."""
    yield "| fault of the power line | gauge | foretold | found |"
    yield "|---|---|---|---|"
    by_words = {fault.words: fault for fault in FAULTS}
    for name, gauge in GAUGES.items():
        said: Counter[str] = Counter()
        for seed in seeds:
            book = of(seed, gauge, WEEKS[1]).book()
            on = max(book.readings.frame["date"])
            for one in power(book, tracks(book, histories(book, on))):
                said[one.fault] += one.found * 100 // one.of
        for words, pairs in FORETOLD.items():
            seen = [
                share(by_words[w], s or round(100 * COARSER * gauge), gauge, WEEKS[1], seeds)
                for w, s in pairs
            ]
            yield (
                f"| {words} | {name} | {said[words] / len(seeds):.0f} | "
                f"{100 * sum(seen) / len(seen):.0f} |"
            )


def false_alarms(seeds: Sequence[int]) -> Iterator[str]:
    """Rules that look at honest seasons, and the whole answer: with typing faults, and without.

    Inlet and outlet exchanged by an honest hand is a fault of the book, so that what is found of
    it is no false alarm; without any, whatever is found is one.
    """
    seasons = [(s, g, w) for s in seeds for g in GAUGES.values() for w in WEEKS]
    slipped = [_slips(*one) for one in seasons]
    yield f"{sum(n > 0 for n in slipped)} of {len(seasons)} have readings with the sides exchanged"
    yield "As honest people type, slips and all:"
    yield from _looks_at([honest(*one) for one in seasons], seeds)
    yield "The same seasons without a slip:"
    yield from _looks_at([open_places(asked(of(*one, slips=False))[1]) for one in seasons], seeds)


def _slips(seed: int, gauge: float, weeks: int) -> int:
    """How many more readings have the outlet above the inlet than without a slip of the hand."""
    typed, clean = (of(seed, gauge, weeks, slips=slips).readings for slips in (True, False))
    return sum(r["inlet"] < r["outlet"] for r in typed) - sum(
        r["inlet"] < r["outlet"] for r in clean
    )


def _looks_at(seasons: Sequence[Counter[tuple[str, str]]], seeds: Sequence[int]) -> Iterator[str]:
    looks = [{code for code, station in one if not station} for one in seasons]
    results = asked(of(seeds[0], GAUGES["usual"], WEEKS[1]))[1]
    data = {r.rule.code for r in results if r.rule.question is Question.TRUST}
    by_rule = Counter(code for one in looks for code in one)
    yield f"{len(seasons)} honest seasons; rules that had something to look at:"
    yield "; ".join(f"{code} {n}" for code, n in by_rule.most_common()) or "none"
    yield f"the first answer: {sum(bool(one & data) for one in looks)}"


def main() -> None:
    """Print the tables."""
    seeds = SEEDS[: int(sys.argv[1])] if len(sys.argv) > 1 else SEEDS
    for lines in (false_alarms(seeds), foretold(seeds), table(seeds)):
        for line in lines:
            print(line, flush=True)
        print(flush=True)


if __name__ == "__main__":
    main()
