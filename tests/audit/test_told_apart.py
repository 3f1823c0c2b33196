"""What follows from changed inputs and what was edited; how far inputs are looked for."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass, field, replace
from types import SimpleNamespace
from typing import Any

import pytest

from siltbook import __version__
from siltbook.batch.audit import causes as causes_module
from siltbook.batch.audit import earlier as earlier_module
from siltbook.batch.audit import stored_results
from siltbook.batch.audit.carried import Carried, alike
from siltbook.batch.audit.causes import Causes, _explain, _followers, _places, _Sheet, unlike
from siltbook.batch.audit.earlier import (
    Added,
    Changed,
    Earlier,
    _changes,
    _latest_rows,
    _one_setting,
    _one_unit,
    _Try,
    as_typed,
)
from siltbook.batch.audit.formulas import Unlike
from siltbook.batch.audit.model import Place, State
from siltbook.batch.audit.stored_results import _date, _formulas, _numbers, _version
from siltbook.batch.fingerprint import fingerprint
from siltbook.batch.typed.mark import Mark
from siltbook.templates.shown import IN_METRES
from tests.audit.test_earlier import LAST, NAME, package, read
from tests.checks.builders import book, reading

# What earlier inputs give.


@dataclass
class Then:
    """Result sheets that the earlier inputs would give."""

    sheets: dict[str, dict[int, dict[int, Any]]]
    written: dict[tuple[int, int], str] = field(default_factory=dict)

    def formulas(
        self, sheet: str, only: Mapping[int, Set[int]]
    ) -> Iterator[tuple[tuple[int, int], str]]:
        assert sheet == "Costs"
        yield from ((p, f) for p, f in self.written.items() if p[0] in only.get(p[1], ()))


def explained(monkeypatch: pytest.MonkeyPatch, sheet: _Sheet, then: Then) -> int:
    made = SimpleNamespace(package=b"")
    monkeypatch.setattr(causes_module, "review_bytes", lambda *_: made)
    monkeypatch.setattr(causes_module, "carried", lambda *_: then)
    return _explain([sheet], Earlier(b""), NAME, Mark("1", NAME, LAST, "0a"))


def costs(old: dict[int, dict[int, Any]], new: dict[int, dict[int, Any]], *odd: Unlike) -> _Sheet:
    return _Sheet("Costs", old, new, unlike(old, new), list(odd))


def test_cells_that_the_earlier_inputs_give_follow_and_others_are_left(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sheet = costs({2: {7: 1.0, 8: 2.0, 9: 9.0}, 3: {7: "a"}}, {2: {7: 5.0, 8: 6.0, 9: 9.5}})
    then = Then({"Costs": {2: {7: 1.0, 8: 2.0 + 1e-10, 9: 4.0}}})
    assert explained(monkeypatch, sheet, then) == 2
    assert sheet.differ == {2: {9}, 3: {7}}
    assert sheet.count == 2


def test_a_formula_of_the_earlier_inputs_is_none_that_somebody_changed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """One of three is as it was then; one is not; and one was not there then either."""

    def odd(row: int, stored: str | None) -> Unlike:
        return Unlike("Costs", (row, 2), stored, "A1", 1.0, True)

    sheet = costs({}, {}, odd(7, "B1"), odd(8, "B1"), odd(9, None), odd(10, None))
    then = Then({"Costs": {}}, {(7, 2): "$B$1", (8, 2): "C1", (10, 2): "A1", (7, 3): "X1"})
    assert explained(monkeypatch, sheet, then) == 0
    assert [one.place[0] for one in sheet.odd] == [8, 10]


def test_beyond_the_most_formulas_all_are_taken_to_follow(monkeypatch: pytest.MonkeyPatch) -> None:
    formulas = {(1, 1): "A1*2", (2, 1): "B1+1", (3, 1): "C9"}
    roots = {(1, 0)}
    assert _followers(formulas, roots) == {(1, 1), (2, 1)}
    monkeypatch.setattr(causes_module, "MOST_FOLLOWED", 3)
    assert _followers(formulas, roots) == {(1, 1), (2, 1)}
    monkeypatch.setattr(causes_module, "MOST_FOLLOWED", 2)
    assert _followers(formulas, roots) == set(formulas)
    assert _followers(formulas, set()) == set()


def test_places_of_changed_inputs_are_named_with_their_cells() -> None:
    limit = Changed("Farm", "B5", "Drop limit", 5.0, 6.0)
    cell = Changed("Readings", "D2", "Readings!D2", 3.0, 3.1)
    rows = Added("Work done", "A7", (7, 8))
    assert _places(Earlier(b"", (limit,), (cell,), (rows,))) == (
        Place("Farm", "B5", "changed after the last run: Drop limit 5 → 6"),
        Place("Readings", "D2", "changed after the last run: Readings!D2 3 → 3.1"),
        Place("Work done", "A7", "after the last run: 2 rows added to Work done (rows 7 and 8)"),
    )


# How far inputs are looked for.


def trial(data: bytes) -> _Try:
    return _Try(data, NAME, read(data), Earlier(data))


def mark_of(data: bytes) -> Mark:
    return Mark("1", NAME, LAST, fingerprint(read(data)))


@pytest.mark.at_length  # a long book is not read again in every unit
def test_a_book_too_large_to_be_tried_is_not_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    now, was = package(("interval", 14)), package(("interval", 3))
    more = package(readings=4)
    assert _one_setting(trial(now), mark_of(was)) is not None
    assert _latest_rows(trial(more), mark_of(package())) is not None
    monkeypatch.setattr(earlier_module, "MOST_HASHED", 0)
    assert _one_setting(trial(now), mark_of(was)) is None
    assert _latest_rows(trial(more), mark_of(package())) is None


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(("most", "found"), [(1, False), (2, True)])
def test_so_many_last_rows_are_left_out_and_no_more(
    monkeypatch: pytest.MonkeyPatch, most: int, found: bool
) -> None:
    monkeypatch.setattr(earlier_module, "LATEST", most)
    assert (_latest_rows(trial(package(readings=5)), mark_of(package())) is not None) is found
    monkeypatch.setattr(earlier_module, "LATEST_WORK", most)
    assert (_latest_rows(trial(package(work=2)), mark_of(package())) is not None) is found


@pytest.mark.parametrize(("most", "found"), [(2, False), (3, True)])
def test_a_long_book_is_not_read_again_in_every_unit(
    monkeypatch: pytest.MonkeyPatch, most: int, found: bool
) -> None:
    monkeypatch.setattr(earlier_module, "MOST_REREAD", most)
    now = package(("pressure_unit", "kPa"))
    assert (_one_unit(trial(now), mark_of(package())) is not None) is found


def test_nothing_was_added_where_no_row_is_left_out() -> None:
    assert _latest_rows(trial(package()), mark_of(package())) is None


def test_undone_cells_are_grouped_by_their_list() -> None:
    one = book([reading(4), reading(5)])
    cells = [Changed("Readings", "D2", "", 3.0, 3.1), Changed("Readings", "E2", "", 2.5, 2.6),
             Changed("Readings", "D3", "", 2.9, 3.0)]  # fmt: skip
    ((table, changes),) = _changes(one, (), cells, ())
    assert table.sheet == "Readings"
    assert changes == {2: {"inlet": 3.0, "outlet": 2.5}, 3: {"inlet": 2.9}}
    ((_, gone),) = _changes(one, (), (), [Added("Readings", "A3", (3,))])
    assert gone == {3: dict.fromkeys(one.readings.places)}


@pytest.mark.at_length  # test_causes.py: 7 psi
def test_a_limit_typed_with_its_unit_is_tried_for_pressures_alone() -> None:
    data = package(("drop_limit", 6))
    was = package(("drop_limit", 5))
    found = _one_setting(trial(data), mark_of(was))
    assert found is not None
    typed = [one.settings[0].was for one in as_typed(data, read(data), mark_of(was), found.found)]
    assert "5 m" in typed
    share = package(("watch_share", 0.7))
    other = _one_setting(trial(share), mark_of(package(("watch_share", 0.6))))
    assert other is not None
    mark = mark_of(package(("watch_share", 0.6)))
    assert list(as_typed(share, read(share), mark, other.found)) == []
    assert list(as_typed(data, read(data), mark_of(was), replace(found.found, witness="x"))) == []


# The rules of the third question.


def test_another_version_is_for_the_record_and_another_day_is_not() -> None:
    mark = Mark(__version__, NAME, LAST, "0a")
    assert _version(mark, "Actions").state is State.QUIET
    old = _version(replace(mark, version="0.0.1"), "Actions")
    assert old.state is State.CANNOT
    assert old.said == f"Written by version 0.0.1; this is {__version__}."
    assert old.places[0].holds
    assert _date(mark, "Actions", LAST, IN_METRES).state is State.QUIET
    other = _date(mark, "Actions", LAST + dt.timedelta(days=1), IN_METRES)
    assert other.state is State.LOOK
    assert other.said == "The result sheets stand as of 2026-05-18; the audit as of 2026-05-19"
    assert (other.places[0].sheet, other.places[0].cell) == ("Actions", "A2")


def test_numbers_are_counted_and_another_version_holds_nothing_against_the_book() -> None:
    stored = Carried({"Costs": {2: {7: 1.0, 8: 2.0, 9: "x"}}}, {})
    again = Carried({"Costs": {2: {7: 1.0, 8: 3.0, 9: "x"}}}, {})
    mark = Mark(__version__, NAME, LAST, "0a")
    found = _numbers(stored, again, mark, Causes(("one cause", "two")))
    assert (found.kept, found.of, found.state) == (2, 3, State.LOOK)
    assert found.said == "One cause; two. The first: Costs!C8 holds 2; recomputed 3"
    same = _numbers(stored, stored, mark, Causes())
    assert (same.kept, same.of) == (3, 3)
    assert same.said == "All 3 cells are as this book gives them today."
    old = _numbers(stored, again, replace(mark, version="0.0.1"), Causes(known=False))
    assert (old.state, old.said) == (
        State.CANNOT, "1 of 3 cells differ; they come from another version.",
    )  # fmt: skip
    assert all(place.holds for place in old.places)


def test_formulas_are_named_with_their_cell_up_to_the_most_and_counted(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    many = tuple(Unlike("Costs", (n, 2), "B1", "A1", 1.0, False) for n in range(1, 5))
    monkeypatch.setattr(stored_results, "MOST_NAMED", 3)
    found = _formulas(Causes(formulas=many), ours=True)
    assert [place.cell for place in found.places] == ["C1", "C2", "C3"]
    assert found.said.startswith("4 formulas; the first: formula in Costs!C1 changed")
    assert _formulas(Causes(), ours=True).said == "Every formula is as it was written."
    assert _formulas(Causes(), ours=False).state is State.CANNOT
    assert _formulas(Causes(known=False), ours=True).state is State.CANNOT


def test_a_long_formula_is_cut_at_sixty_letters() -> None:
    long = "A1+" * 30
    said = Unlike("Costs", (7, 2), long, None, 1.0, False).said
    assert said == f"formula in Costs!C7 typed where a value stood (={long[:60]})"
    both = Unlike("Costs", (7, 2), long, long, 1.0, False).said
    assert both == f"formula in Costs!C7 changed (={long[:60]}; as written: ={long[:60]})"


def test_a_number_is_no_text_and_a_truth_is_itself() -> None:
    assert not alike(1.0, "1")
    assert alike("a  b", "a b")
    assert not alike(None, 0.0)
    assert not alike("", None)
