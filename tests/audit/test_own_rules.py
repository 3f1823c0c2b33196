"""Rules that a book sets for itself with what stands beside them, through a real workbook."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from siltbook.batch.audit.against import against
from siltbook.batch.audit.agreed_rules import agreed_done, agreed_kept
from siltbook.batch.audit.agreed_seen import Outcome
from siltbook.batch.audit.agreements import Agreement, Sighting, Source
from siltbook.batch.audit.book_rules import _limits, _units, rules_of_book
from siltbook.batch.audit.model import RuleResult, State, Taken
from siltbook.batch.audit.witness import Witness
from siltbook.batch.package.opened import open_package
from siltbook.batch.reading.book import read_book
from siltbook.batch.reading.cells import address
from siltbook.batch.reading.workbook import open_workbook
from siltbook.batch.review.agreed import Effect
from siltbook.batch.review.append import change_cells
from siltbook.templates.blank import BlankOptions, build
from tests.audit.farm import open_places
from tests.audit.test_copies import asked, at, said, side, work_at
from tests.checks.builders import Row, book, reading

NAME = "farm.xlsx"
QUIET = "Limit, watch share, flush rules and interval are the defaults."


def ruled(stations: list[Row] | None = None, beside: dict[str, str] | None = None,
          **settings: object) -> RuleResult:  # fmt: skip
    """The rule on a blank in bar with these settings, and texts typed into its sheet Farm."""
    lists = {"Stations": stations or [{"station": "Alder"}]}
    data = build(BlankOptions("bar", "m3/h", "Invented farm"), lists, settings)
    one = read_book(data, NAME).book
    styles = open_workbook(open_package(data, NAME), NAME).styles
    for cell, text in (beside or {}).items():
        row, column = address(cell)
        farm = replace(one.stations, sheet="Farm", header_row=0, places={"v": column}, units={})
        data = change_cells(data, farm, {row: {"v": text}}, styles)
    return rules_of_book(read_book(data, NAME).book, data)


def test_a_book_as_it_was_made_has_the_default_rules() -> None:
    found = ruled()
    assert (found.state, found.said, found.places) == (State.QUIET, QUIET, ())


@pytest.mark.at_length  # a book as it was made; what has no remark
def test_the_template_s_own_help_is_no_remark_and_a_word_beside_it_is() -> None:
    plain = ruled(interval=14)
    words = "Reading interval is 14 days, by default 7"
    assert (plain.state, plain.said) == (State.LOOK, f"{words}; no remark says why")
    (place,) = plain.places
    assert (place.sheet, place.cell) == ("Farm", "B10")
    for cell in ("D10", "H10"):
        told = ruled(beside={cell: "agreed  in\nMarch"}, interval=14)
        assert told.state is State.QUIET
        assert told.said == (
            f"What differs from the default has a remark: {words}; remark: agreed in March."
        )
    elsewhere = {"C10": "agreed in March", "D9": "agreed in March", "D11": "agreed in March"}
    assert ruled(beside=elsewhere, interval=14).state is State.LOOK
    both = ruled(beside={"D10": "the first", "E10": "the second"}, interval=14)
    assert both.said.endswith("; remark: the first.")


def test_what_has_no_remark_stands_before_what_has_one() -> None:
    found = ruled(beside={"E7": "agreed"}, watch_share=0.7, interval=14)
    assert [(place.cell, place.holds) for place in found.places] == [("B10", False), ("B7", True)]
    assert found.said == "Reading interval is 14 days, by default 7; no remark says why"
    two = ruled(watch_share=0.7, interval=14)
    assert two.said.startswith("2 rules differ; the first: Watch share is 0.7")


def test_units_and_gauges_are_for_the_record() -> None:
    one = ruled([{"station": "Alder"}, {"station": "Birch", "unit": "kPa"}])
    first = "Birch: pressures in kPa, the farm's in bar; no remark says why"
    assert one.state is State.QUIET
    assert one.said == (
        f"{QUIET} 1 unit or gauge is not as at most stations, with no remark; the first: {first}."
    )
    same = {"unit": "kPa", "gauge_class": 1.6}
    three = [{"station": name, "gauge_class": 1.0} for name in ("Alder", "Cedar", "Elm")]
    two = ruled([*three, {"station": "Birch", **same}])
    assert f"{QUIET} 2 units and gauges are not as at most stations, with no remark" in two.said
    assert [place.holds for place in two.places] == [True, True]
    assert two.said.endswith(f"; the first: {first}.")


@pytest.mark.parametrize(
    ("remark", "told"),
    [
        ("6 m agreed", True), ("raised to 6m", True), ("since May 6,0 m", True),
        ("0.588 bar, as the maker asks", True), ("a limit of its own", True),
        ("new lamp 2026-05-06", False), ("pump 6 repaired", False), ("16 m of pipe", False),
        ("116 mesh", False), ("at 7:6 m", False), ("5.6 m", False), ("6 metal rings", False),
        ("6 bar on the line", False), ("", False),
    ],
)  # fmt: skip
def test_a_number_in_a_remark_is_the_limit_with_its_unit_alone(remark: str, told: bool) -> None:
    """What looks like the number of a raised limit excuses nothing."""
    one = book([], stations=[{"station": "S0", "drop_limit": 6.0, "remark": remark or None}])
    (place,) = _limits(one)
    assert place.holds is told
    assert place.said.startswith("S0: drop limit 6 m, the farm's is 5 m; ")
    assert place.said.endswith("no remark says why") is not told


@pytest.mark.parametrize(
    ("remark", "told"),
    [("bar", True), ("read in BAR, not in m", True), ("Units differ", True),
     ("near the barn", False), ("community well", False)],
)  # fmt: skip
def test_a_word_inside_another_word_says_nothing_of_a_unit(remark: str, told: bool) -> None:
    one = book([], stations=[{"station": "S0", "unit": "bar", "remark": remark}],
               pressure_unit="m")  # fmt: skip
    assert (list(_units(one)) == []) is told


# Rows of a copy that were filled in or moved.


def test_a_time_that_was_filled_in_is_for_the_record_and_another_time_is_not() -> None:
    eight, nine = dt.time(8, 0), dt.time(9, 0)
    for was, now, holds in ((None, eight, True), (eight, nine, False), (eight, None, False)):
        found = asked(side([at("Alder", 5, time=now)]), side([at("Alder", 5, time=was)]))
        (place,) = found["witness-rows"].places
        assert place.holds is holds
        words = [f"{t:%H:%M}" if t else "empty" for t in (was, now)]
        assert place.said.endswith(f"has another day or time than in may.xlsx, Readings!2:2: time"
                                   f" {words[0]} → {words[1]}")  # fmt: skip
        assert place.cell == "C2"
        assert found["witness-rows"].kept == (1 if holds else 0)


def test_a_row_without_a_value_is_gone_and_moved_nowhere() -> None:
    empty = {"inlet": None, "outlet": None}
    found = asked(side([{**at("Alder", 6), **empty}]), side([{**at("Alder", 5), **empty}]))
    assert said(found["witness-rows"]) == [
        "Alder, 2026-05-05: a reading stands in may.xlsx, Readings!2:2, and not in the book"
    ]


def test_a_row_without_a_day_is_the_last_that_a_moved_one_is_taken_for() -> None:
    undated = {**at("Birch", 5, 40.0), "date": None}
    now = [undated, at("Birch", 31, 40.0)]
    (one,) = said(asked(side(now), side([at("Birch", 1, 40.0)]))["witness-rows"])
    assert one.endswith("date 2026-05-01 → 2026-05-31")
    (one,) = said(asked(side([undated]), side([at("Birch", 1, 40.0)]))["witness-rows"])
    assert one.endswith("date 2026-05-01 → empty")


def test_the_same_figure_in_another_unit_is_a_rule_s_and_no_row_s() -> None:
    bar = side([at("Alder", 5, 3.0)], stations=[{"station": "Alder", "unit": "bar"}])
    metres = side([at("Alder", 5, 3.0)], stations=[{"station": "Alder", "unit": "m"}])
    found = asked(bar, metres)
    assert found["witness-rows"].state is State.QUIET
    assert said(found["witness-rules"]) == [
        "Alder: Pressure unit is bar; m in may.xlsx, Stations!2:2"
    ]


def test_two_copies_name_a_row_once_and_count_it_in_each() -> None:
    first, second = side([at("Alder", 5), at("Birch", 5)]), side([at("Alder", 5), at("Birch", 5)])
    given = [Witness("may.xlsx", first), Witness("june.xlsx", second)]
    rows, rules = against(side([at("Alder", 5)], [work_at("Alder", 9)]), given)
    assert (rows.kept, rows.of) == (2, 4)
    assert [place.said for place in open_places(rows)] == [
        "Birch, 2026-05-05: a reading (inlet 30, outlet 28) stands in may.xlsx, Readings!3:3, and"
        " not in the book"
    ]
    assert rules.said == "Limits, units, intervals and gauges are those of may.xlsx, june.xlsx."


# The rules on agreed actions.


def outcome(taken: Taken | None, *, late: int = 0, name: str = "North 1", listed: bool = True,
            file: str = "", unlike: tuple[str, ...] = (), effect: str = "") -> Outcome:  # fmt: skip
    day = dt.date(2026, 5, 15)
    one = Sighting(name, "Clean", "Ann", day, None, "Agreed!B2", listed)
    found = Agreement(((Source(file, day, (one,)), one),), unlike)
    shows = Effect.SHOWN if effect else Effect.NOT_SHOWN
    return Outcome(found, taken, None, "seen", shows, effect, late)


def test_agreed_actions_stand_with_the_longest_undone_first() -> None:
    one = book([reading(4)])
    found = agreed_done(one, [
        outcome(Taken.IN_TIME, name="A"), outcome(Taken.CANNOT, name="B"),
        outcome(Taken.LATE, late=3, name="C"), outcome(Taken.NOT_TAKEN, late=9, name="D"),
        outcome(None, name="E"),
    ])  # fmt: skip
    assert [place.station for place in found.places] == ["D", "C", "B", "A"]
    assert (found.kept, found.of, found.late, found.untold) == (1, 4, 1, 1)
    assert found.said == "Worst: D, Clean (Ann, due 2026-05-15): not done; seen"
    assert (found.places[0].days, found.places[0].person) == (9, "Ann")
    assert found.places[0].cell == "B2"
    none = agreed_done(one, [outcome(None)])
    assert (none.state, none.said, none.of) == (State.CANNOT, "Nothing agreed was due.", 0)


@pytest.mark.parametrize(("file", "listed"), [("may.xlsx", True), ("", False)])
def test_an_action_that_the_book_does_not_list_has_no_cell(file: str, listed: bool) -> None:
    late = outcome(Taken.LATE, late=1, file=file, listed=listed, effect="drop fell")
    (place,) = agreed_done(book([]), [late]).places
    assert (place.sheet, place.cell) == ("Agreed", "")
    assert place.said.endswith(": done late; seen; drop fell")


def test_agreed_actions_of_other_files_are_counted_where_they_are() -> None:
    day = dt.date(2026, 5, 15)
    one = Sighting("North 1", "Clean", "", None, None, "Agreed!B2")
    full, bare = Source("may.xlsx", day, (one,)), Source("june.xlsx", day, ())
    mine = Outcome(Agreement(((full, one), (Source("", day, (one,)), one))), None, None, "",
                   Effect.NOT_SHOWN)  # fmt: skip
    own = outcome(None)
    kept = agreed_kept(book([]), [mine, own], [full, bare])
    assert kept.said == (
        "The agreed action of may.xlsx stands in the book, with the same date and person."
    )
    two = agreed_kept(book([]), [mine, mine], [full])
    assert two.said == (
        "All 2 agreed actions of may.xlsx stand in the book, with the same dates and people."
    )
    unlike = Outcome(Agreement(mine.agreement.seen, ("gone", "moved")), None, None, "",
                     Effect.NOT_SHOWN)  # fmt: skip
    other = agreed_kept(book([]), [unlike, own], [full])
    assert [place.said for place in other.places] == [
        "North 1, Clean: gone", "North 1, Clean: moved",
    ]  # fmt: skip
    assert other.said.startswith("2 agreed actions are not the same; the first: North 1, Clean")
    assert agreed_kept(book([]), [own], [bare]).state is State.CANNOT
