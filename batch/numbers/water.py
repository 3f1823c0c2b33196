"""How far the water and the filter's openings put the emitters at risk.

The published tables of clogging hazard disagree (iron 0.1 or 0.2 mg/L, hydrogen sulphide 0.2 or
0.5 mg/L), and so do the rules for a filter's opening; the farm names the ones to use.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from siltbook.batch.model import Station
from siltbook.batch.reading.amounts import one_sided
from siltbook.templates.book import Book
from siltbook.templates.contract import WATER
from siltbook.templates.mesh import E11_OPENINGS, TRADE_120
from siltbook.templates.names import name_key
from siltbook.templates.shown import Shown

NOISE = 1e-9  # [µm] and relative; arithmetic only
UNNAMED = "(source not named)"


Values = dict[Hashable, Any]  # column key -> {spreadsheet row: value}


class Hazard(StrEnum):
    """The three classes of every table; the order is the order of severity."""

    LOW = "low"
    MODERATE = "moderate"
    SEVERE = "severe"


@dataclass(frozen=True)
class Bounds:
    """Low under `low`, severe above `severe`, moderate between and on either."""

    low: float
    severe: float


@dataclass(frozen=True)
class ClogTable:
    """One published table; `source` says where it stands and how far its figures were seen."""

    source: str
    bounds: Mapping[str, Bounds]


# What the four tables agree on: [mg/L], pH, bacteria [per mL].
_COMMON = {
    "suspended_solids": Bounds(50, 100),
    "ph": Bounds(7, 8),
    "dissolved_solids": Bounds(500, 2000),
    "iron": Bounds(0.2, 1.5),
    "manganese": Bounds(0.1, 1.5),
    "sulphide": Bounds(0.5, 2.0),
    "bacteria": Bounds(10_000, 50_000),
}
TABLES: dict[str, ClogTable] = {
    "Haman 2017": ClogTable(
        "Handbook for Irrigation of Wine Grapes in South Africa, Table 4.6, after Haman 2017;"
        " figures as printed there",
        _COMMON,
    ),
    "Ayers and Westcot 1985": ClogTable(
        "Ayers and Westcot 1985, FAO Irrigation and Drainage Paper 29 Rev. 1, Table 20;"
        " figures from memory, those of iron and hydrogen sulphide found repeated in print",
        {**_COMMON, "iron": Bounds(0.1, 1.5)},
    ),
    "Bucks 1979": ClogTable(
        "Bucks, Nakayama and Gilbert 1979, Agricultural Water Management 2:149-162;"
        " figures from memory",
        {**_COMMON, "sulphide": Bounds(0.2, 2.0)},
    ),
    # The reprint's severe column has suspended solids '> 2000' and dissolved solids '> 100'.
    "Pitts 1990": ClogTable(
        "Florida Automated Weather Network, Table 1, after Pitts et al. 1990; figures as"
        " printed there, but for its severe column, which has suspended and dissolved solids"
        " swapped: here in the right order",
        {
            **_COMMON,
            "ph": Bounds(7, 7.5),
            "iron": Bounds(0.1, 1.5),
            "sulphide": Bounds(0.2, 2.0),
        },
    ),
}
CONSTITUENTS = tuple(_COMMON)


def rate(value: float, bounds: Bounds, side: str = "") -> Hazard | None:
    """The hazard of one `value` [unit of its `bounds`]; a value on a bound is moderate.

    `side`: '<' or '>' where the true value is only known to be under or over `value`. Then low,
    or severe, where that settles it, else None.
    """
    if side == "<":
        return Hazard.LOW if value <= bounds.low else None
    if side == ">":
        return Hazard.SEVERE if value >= bounds.severe else None
    if value < bounds.low:
        return Hazard.LOW
    return Hazard.SEVERE if value > bounds.severe else Hazard.MODERATE


@dataclass(frozen=True)
class Tested:
    """One value of one test; `side` '<' or '>' where the laboratory only says that much."""

    value: float
    on: dt.date
    row: int
    side: str = ""

    def words(self) -> str:
        """The value as a sentence has it: 'under 0.05'."""
        return f"{_SIDES[self.side]}{self.value:g}"

    def hazard(self, bounds: Bounds) -> Hazard | None:
        """Its hazard, or None where it is not known well enough."""
        return rate(self.value, bounds, self.side)


_SIDES = {"": "", "<": "under ", ">": "over "}


@dataclass(frozen=True)
class Rating:
    """One constituent at one source: latest value, worst of the season, and their hazards.

    `latest` and `worst` are None where nothing usable was tested; `why` then says so. `others`
    says in words where other published tables would rate the latest or the worst value otherwise.
    """

    source: str
    constituent: str  # key of the contract's column
    bounds: Bounds
    latest: Tested | None
    hazard: Hazard | None
    worst: Tested | None
    worst_hazard: Hazard | None
    why: str = ""
    others: str = ""
    unsure: str = ""  # a test that is not known well enough and may have been worse


def water_review(book: Book, as_of: dt.date | None) -> tuple[Rating, ...]:
    """Every constituent of every source, tests up to the as-of date, by the farm's table.

    Sources in the order in which they first stand in the list; case and spacing of their names
    do not count. Of two tests on one day the lower row is the later one.
    """
    table = book.settings.clogging_table
    found = []
    values: Values = book.water.frame.to_dict()
    for source, rows in _by_source(book, as_of).items():
        for key in CONSTITUENTS:
            typed = book.water.raw.get(key, {})
            tests = sorted(_tests(values, typed, rows, key), key=lambda one: (one.on, one.row))
            if tests:
                found.append(_rating(source, key, tests, table, book.settings.shown))
                continue
            filled = any(row in typed or values[key][row] == values[key][row] for row in rows)
            why = "no usable value: see Findings" if filled else "not tested"
            bounds = TABLES[table].bounds[key]
            found.append(Rating(source, key, bounds, None, None, None, None, why))
    return tuple(found)


def _by_source(book: Book, as_of: dt.date | None) -> dict[str, list[int]]:
    names: dict[str, str] = {}
    rows: dict[str, list[int]] = {}
    frame = book.water.frame
    for row, source, on in zip(frame.index, frame["source"], frame["date"], strict=True):
        if as_of is not None and on > as_of:
            continue
        name = " ".join(source.split()) if isinstance(source, str) else UNNAMED
        rows.setdefault(names.setdefault(name_key(name), name), []).append(int(row))
    return rows


def _tests(
    values: Values, typed: Mapping[int, object], rows: Iterable[int], key: str
) -> Iterator[Tested]:
    """The usable values of one constituent; one outside what is possible has its finding."""
    column = WATER.column(key)
    for row in rows:
        value = float(values[key][row])
        if column.allows(value):
            yield Tested(value, values["date"][row], row, one_sided(column, typed.get(row)))


def _rating(source: str, key: str, tests: list[Tested], table: str, shown: Shown) -> Rating:
    """The rating of at least one usable value, oldest first."""
    bounds = TABLES[table].bounds[key]
    latest = tests[-1]
    hazard = latest.hazard(bounds)
    worst = max(tests, key=lambda one: _badness(one, bounds))
    why = "" if hazard else f"not known: only reported as {latest.words()}"
    return Rating(
        source, key, bounds, latest, hazard, worst, worst.hazard(bounds), why,
        _others(key, latest, worst, table), _unsure(tests, worst, bounds, shown),
    )  # fmt: skip


def _badness(tested: Tested, bounds: Bounds) -> tuple[int, bool, float]:
    """Orders tests by what is known of them; one that cannot be rated comes before all others."""
    hazard = tested.hazard(bounds)
    rank = -1 if hazard is None else list(Hazard).index(hazard)
    return rank, tested.side != "<", tested.value


def _unsure(tests: list[Tested], worst: Tested, bounds: Bounds, shown: Shown) -> str:
    """The latest test that cannot be rated and may have been worse than the worst known one."""
    unknown = [t for t in tests if t.hazard(bounds) is None and t is not worst]
    may = [t for t in unknown if t.side == ">" or t.value > worst.value]
    if not may or worst.hazard(bounds) is Hazard.SEVERE:
        return ""
    return f"{may[-1].words()} on {shown.day(may[-1].on)} may have been worse"


def _others(key: str, latest: Tested, worst: Tested, table: str) -> str:
    """Where the tables disagree on the latest, and on the worst where that is something else."""
    said = disagreement(key, latest, table)
    also = disagreement(key, worst, table)
    return "; ".join(filter(None, (said, f"the worst: {also}" if also and also != said else "")))


def disagreement(key: str, tested: Tested, table: str) -> str:
    """What the other published tables would call a value, where that is something else."""
    own = tested.hazard(TABLES[table].bounds[key])
    said: dict[Hazard | None, list[str]] = {}
    for name, other in TABLES.items():
        verdict = tested.hazard(other.bounds[key])
        if verdict is not own:
            said.setdefault(verdict, []).append(name)
    parts = [
        f"by {_listed(names)} it would be {verdict or 'not known'}"
        for verdict, names in said.items()
    ]
    return "; ".join(parts)


def _listed(names: list[str]) -> str:
    return " or ".join(filter(None, (", ".join(names[:-1]), names[-1])))


@dataclass(frozen=True)
class PassageRule:
    """Largest opening of the filter = the emitter's passage / `divisor`."""

    divisor: float
    source: str


PASSAGE_RULES: dict[str, PassageRule] = {
    "one tenth": PassageRule(
        10, "Merkley and Allen, Utah State University, Sprinkle and Trickle Irrigation Lectures,"
        " lecture 17; as printed there",
    ),
    "one eighth": PassageRule(
        8, "Victoria Department of Primary Industries, Filtration of Micro-Irrigation Systems,"
        " note AG0136, 1995, updated 2009; named there as what others recommend: where the water"
        " is dirty, so fine a filter clogs, and the note itself is for one fifth together with"
        " treatment of the water",
    ),
    "one seventh": PassageRule(7, "widely repeated; from memory, no source found in print"),
}  # fmt: skip


@dataclass(frozen=True)
class GradeFit:
    """Whether a station's filtration grade suits its emitters; None where it is not known.

    `largest` is the largest opening that the rule allows [µm], None without a passage.
    """

    largest: float | None
    fits: bool | None
    why: str


def grade_fit(station: Station, rule: str) -> GradeFit:
    """Hold a station's grade [µm] against its emitter passage [mm] by a named rule.

    A grade equal to the largest opening suits.
    """
    passage, no_passage = _usable("emitter_passage", "emitter passage", station)
    grade, no_grade = _usable("grade", "filtration grade", station)
    largest = None if passage is None else passage * 1000.0 / PASSAGE_RULES[rule].divisor
    if grade is None or largest is None:
        return GradeFit(largest, None, ", ".join(filter(None, (no_passage, no_grade))))
    fits = _at_most(grade, largest)
    words = f"{grade:g} µm, allowed {'' if fits else 'only '}up to {largest:.4g} µm"
    return GradeFit(largest, fits, words + _either_120(grade, largest))


def _usable(key: str, words: str, station: Station) -> tuple[float | None, str]:
    """A value of the register that is there and possible; else None, and what is wrong with it."""
    if key in station.refused:
        return None, f"{words} outside what is possible: see Findings"
    value: float | None = getattr(station, key)
    return value, f"no {words}" if value is None else ""


def _at_most(grade: float, largest: float) -> bool:
    return grade <= largest * (1 + NOISE) + NOISE


def _either_120(grade: float, largest: float) -> str:
    """120 mesh is 125 µm or 130 µm, by whom you ask: say so where the answer hangs on it."""
    pair = (E11_OPENINGS[120], TRADE_120)
    if grade not in pair or len({_at_most(one, largest) for one in pair}) == 1:
        return ""
    return (
        f"; 120 mesh is {pair[0]:g} µm in ASTM E11 and {pair[1]:g} µm in irrigation use: see which"
        " the element's maker means"
    )


def unit_of(key: str) -> str:
    """The unit of a constituent: 'mg/L', 'per mL', '' for pH."""
    return WATER.column(key).amount


def name_of(key: str) -> str:
    """A constituent as the sheet names it, without its unit."""
    column = WATER.column(key)
    return column.header.removesuffix(f" ({column.amount})")
