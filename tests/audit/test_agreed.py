"""Agreed actions of the book and of all files given: seen in the log or not, moved, or dropped."""

from __future__ import annotations

import datetime as dt
import io
import json
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.audit.agreed_seen import NOBODY, Outcome, by_person
from siltbook.batch.audit.agreed_words import kinds_of
from siltbook.batch.audit.job import audit_bytes, audited_package
from siltbook.batch.audit.model import Audit, RuleResult, State, Taken
from siltbook.batch.audit.report import audit_json
from siltbook.batch.cli import main
from siltbook.batch.review.agreed import Effect
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import AUDIT_SHEETS
from tests.review.test_agree import filled, header_row

Row = dict[str, Any]
NAME = "farm.xlsx"
pytestmark = pytest.mark.usefixtures("without_what_would_be")


def day(number: int, month: int = 6) -> dt.date:
    return dt.date(2026, month, number)


def read(date: dt.date, drop: float, **more: object) -> Row:
    return {"station": "Alder", "date": date, "inlet": 3.0, "outlet": round(3.0 - drop, 3),
            "flow": 30.0, **more}  # fmt: skip


def agreed(action: str, who: str = "Reader A", due: dt.date | None = None, **more: object) -> Row:
    return {"station": "Alder", "action": action, "who": who, "due": due, **more}


# Over the limit on 8 June, cleaned by hand on the 12th by somebody, in range on the 13th.
READINGS = [
    read(day(1), 0.2), read(day(8), 0.7), read(day(13), 0.15, occasion="after cleaning"),
    read(day(30), 0.2), read(day(31, 7), 0.3),
]  # fmt: skip
CLEANED = {
    "station": "Alder", "date": day(12), "work": "hand cleaning", "gauge_zero": "yes",
    "done_by": "Reader B",
}  # fmt: skip


def package(
    *rows: Row, work: tuple[Row, ...] = (CLEANED,), until: dt.date | None = None,
    readings: list[Row] | None = None,
) -> bytes:  # fmt: skip
    """A book with these agreed actions; with `until`, as it stood that day."""
    stations = [{"station": "Alder", "also": "Old mill", "in_service": "yes"},
                {"station": "Birch", "in_service": "yes"}]  # fmt: skip
    last = until or dt.date.max
    lists = {
        "Stations": stations,
        "Readings": [r for r in readings or READINGS if r["date"] <= last],
        "Work done": [w for w in work if w["date"] <= last],
        "Agreed": list(rows),
    }
    return build(BlankOptions("bar", "m3/h", "Invented farm"), lists, {"season": "2026"})


def audit(book: bytes, *others: tuple[str, bytes]) -> Audit:
    return audit_bytes(book, NAME, None, others)


def only(book: bytes, *others: tuple[str, bytes]) -> Outcome:
    (one,) = audit(book, *others).agreed
    return one


def rule(found: Audit, code: str) -> RuleResult:
    return next(r for r in found.results if r.rule.code == code)


def test_a_done_date_that_the_log_shows_is_done_in_time_with_its_effect() -> None:
    one = only(package(agreed("Clean by hand", due=day(15), done=day(12))))
    assert (one.taken, one.seen, one.shows) == (Taken.IN_TIME, day(12), Effect.SHOWN)
    assert one.said == "hand cleaning on 2026-06-12 (Work done!D2, by Reader B)"
    assert one.effect == "drop 0.70 bar before, 0.15 bar on 2026-06-13"


def test_work_near_the_done_date_counts_by_the_day_in_the_log() -> None:
    one = only(package(agreed("Clean by hand", due=day(11), done=day(10))))
    assert (one.taken, one.seen, one.late) == (Taken.LATE, day(12), 1)
    assert one.said.endswith("; its Done date says 2026-06-10")


@pytest.mark.parametrize("done", [None, day(20)])
def test_what_the_log_does_not_show_is_never_done_in_time(done: dt.date | None) -> None:
    one = only(package(agreed("Replace the screen", due=day(25), done=done)))
    assert (one.seen, one.shows) == (None, Effect.NOT_SHOWN)
    if done is None:
        assert (one.taken, one.late) == (Taken.NOT_TAKEN, 36)
        assert one.said == "no Done date; screen replaced not seen in the log"
    else:
        assert one.taken is Taken.CANNOT
        assert one.said == "done 2026-06-20 by its Done date; screen replaced not seen in the log"


def test_a_done_date_after_the_due_date_is_late_by_its_own_word() -> None:
    one = only(package(agreed("Replace the screen", due=day(10), done=day(20))))
    assert (one.taken, one.late, one.state) == (Taken.LATE, 10, "done late")


def test_work_after_the_due_date_is_late() -> None:
    one = only(package(agreed("Hand clean", due=day(9))))
    assert (one.taken, one.seen, one.late) == (Taken.LATE, day(12), 3)


@pytest.mark.at_length  # what the log does not show is held above
def test_work_before_anybody_can_know_that_it_was_agreed_cannot_be_told() -> None:
    row = agreed("Hand clean", due=day(20))
    one = only(package(row))
    assert (one.taken, one.seen, one.shows) == (Taken.CANNOT, None, Effect.NOT_SHOWN)
    assert one.said == (
        "hand cleaning on 2026-06-12 is in the log; whether it was agreed before that, no file says"
    )
    # A copy of 8 June that holds the row shows that it was agreed before the cleaning.
    told = only(package(row), ("june.xlsx", package(row, until=day(8))))
    assert (told.taken, told.seen) == (Taken.IN_TIME, day(12))


def test_what_lies_ahead_is_not_due_yet_and_counts_for_nothing() -> None:
    found = audit(package(agreed("Hand clean", due=day(20, 8))))
    assert found.agreed[0].taken is None
    assert found.agreed[0].state == "not due yet"
    assert rule(found, "agreed-done").state is State.CANNOT
    assert rule(found, "agreed-done").said == "Nothing agreed was due."


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("action", "said"),
    [
        ("Ask for a price", "no Done date; the log has no kind of work for it"),
        ("Flush or clean", "no Done date; the log has no kind of work for it"),
        ("Flush, then clean by hand", "no Done date; flush not seen in the log"),
    ],
)
def test_an_action_that_names_no_work_for_sure_is_not_read_into_the_log(
    action: str, said: str
) -> None:
    one = only(package(agreed(action, due=day(5))))
    assert (one.taken, one.said) == (Taken.NOT_TAKEN, said)


@pytest.mark.parametrize(
    ("action", "kinds"),
    [
        ("Flush", ("flush",)), ("● Flush", ("flush",)), ("Check the flush valve", ()),
        ("Check flush gear", ()), ("Hand clean", ("hand cleaning",)),
        ("Replace the solenoid, then flush", ("solenoid replaced", "flush")),
        ("▲ Escalate", ("called out",)), ("Do not flush", ()), ("Clean if still over", ()),
        ("Limpiar el filtro a mano", ("hand cleaning",)), ("Sieb ersetzen", ("screen replaced",)),
        ("Rincer", ("flush",)), ("Order a new screen", ()), ("New controller",
         ("controller replaced",)), ("", ()),
    ],
)  # fmt: skip
def test_kinds_of_work_are_known_by_their_words(action: str, kinds: tuple[str, ...]) -> None:
    assert kinds_of(action) == kinds


def test_an_action_for_the_whole_farm_is_held_against_no_station() -> None:
    one = only(package(agreed("Flush", due=day(20), done=day(12), station="(farm)")))
    assert one.taken is Taken.CANNOT
    assert one.said == "done 2026-06-12 by its Done date; not of one station of the book"


def test_another_name_of_a_station_finds_its_log() -> None:
    one = only(package(agreed("Hand clean", due=day(15), done=day(12), station="old  MILL")))
    assert (one.agreement.last.station, one.taken) == ("Alder", Taken.IN_TIME)


def test_work_that_left_the_drop_over_had_no_effect_and_less_flow_shows_none() -> None:
    over = [*READINGS[:2], read(day(13), 0.6), *READINGS[3:]]
    row = agreed("Hand clean", due=day(15), done=day(12))
    one = only(package(row, readings=over))
    assert one.shows is Effect.NONE
    assert one.effect.endswith(" on 2026-06-13: still over the limit of 5 m (0.49 bar)")
    less = [*READINGS[:2], read(day(13), 0.15, flow=12.0), *READINGS[3:]]
    one = only(package(row, readings=less))
    assert one.shows is Effect.NOT_SHOWN
    assert one.effect.endswith(", but at less flow")


@pytest.mark.at_length(keep="then1")
@pytest.mark.parametrize(
    ("then", "shows", "said"),
    [
        ({"click": "yes", "water": "yes"}, Effect.SHOWN,
         "solenoid suspect before; flush on 2026-06-16 with its signs"),
        ({"click": "no", "water": "no"}, Effect.NONE,
         "flush on 2026-06-16: no click heard, no water at the outlet"),
        (None, Effect.NOT_SHOWN, "no flush with its signs since"),
    ],
)  # fmt: skip
def test_a_new_solenoid_shows_its_effect_in_the_next_flush(
    then: Row | None, shows: Effect, said: str
) -> None:
    flush = {"station": "Alder", "work": "flush", "cycles": 3, "flush_inlet": 2.5}
    work = [{**flush, "date": day(9), "click": "no", "water": "no"},
            {"station": "Alder", "date": day(15), "work": "solenoid replaced"}]  # fmt: skip
    if then is not None:
        work.append({**flush, "date": day(16), **then})
    row = agreed("Replace the solenoid", due=day(20), done=day(15))
    readings = [*READINGS[:2], *READINGS[3:]]
    one = only(package(row, work=tuple(work), readings=readings))
    assert (one.seen, one.shows, one.effect) == (day(15), shows, said)


def test_a_due_date_that_moved_is_said_and_lateness_counts_from_the_first() -> None:
    was, now = agreed("Hand clean", due=day(10)), agreed("Hand clean", due=day(25))
    found = audit(package(now), ("june.xlsx", package(was, until=day(8))))
    (one,) = found.agreed
    assert one.agreement.unlike == (
        "due date 2026-06-10 in june.xlsx, Agreed!B2; 2026-06-25 in the book",
    )
    assert (one.taken, one.late) == (Taken.LATE, 2)
    assert one.said.endswith(
        "; late by the day first agreed, 2026-06-10, in time by the later one, 2026-06-25"
    )
    kept = rule(found, "witness-agreed")
    assert (kept.state, kept.rule.title) == (State.LOOK, "Agreed actions as in earlier copies")
    assert kept.said == f"Alder, Hand clean (Reader A, due 2026-06-25): {one.agreement.unlike[0]}"


@pytest.mark.at_length  # a due date that moved is said so
def test_another_person_and_a_done_date_that_went_away_are_said() -> None:
    was = agreed("Hand clean", due=day(15), done=day(12))
    found = only(package(agreed("Hand clean", "Reader C", day(15))), ("june.xlsx", package(was)))
    assert found.agreement.unlike == (
        "person Reader A in june.xlsx, Agreed!B2; Reader C in the book",
        "done date 2026-06-12 in june.xlsx, Agreed!B2; none in the book",
    )


def test_what_was_filled_in_since_is_no_difference() -> None:
    was = agreed("Hand clean", "", None)
    now = agreed("hand  CLEAN", "Reader A", day(15), done=day(12))
    found = audit(package(now), ("june.xlsx", package(was, until=day(8))))
    assert len(found.agreed) == 1
    kept = rule(found, "witness-agreed")
    assert kept.state is State.QUIET
    assert kept.said == (
        "The agreed action of june.xlsx stands in the book, with the same date and person."
    )


def test_an_action_that_was_dropped_is_in_the_table_and_said() -> None:
    was = agreed("Replace the screen", due=day(10))
    found = audit(package(), ("june.xlsx", package(was, until=day(8))))
    (one,) = found.agreed
    assert not one.agreement.in_book
    assert one.taken is Taken.NOT_TAKEN
    assert one.agreement.unlike == ("stands in june.xlsx, Agreed!B2, and not in the book",)
    assert rule(found, "witness-agreed").state is State.LOOK
    assert audit_json(found, NAME, None)["agreed"]["actions"][0]["in_book"] is False


@pytest.mark.at_length  # test_places.py and test_own_rules.py list agreed actions
def test_two_agreements_of_one_work_stay_two() -> None:
    early, late = agreed("Hand clean", due=day(12)), agreed("Hand clean", due=day(30))
    found = audit(package(early, late), ("june.xlsx", package(early, until=day(8))))
    assert [one.agreement.last.due for one in found.agreed] == [day(12), day(30)]
    assert [one.agreement.unlike for one in found.agreed] == [(), ()]
    assert found.agreed[0].taken is Taken.IN_TIME


def test_totals_of_persons_compare_names_as_everywhere() -> None:
    rows = [
        agreed("Hand clean", "Reader A", day(15), done=day(12)),
        agreed("Replace the screen", "reader  a", day(15)),
        agreed("Replace the solenoid", "Reader B", day(9), done=day(14)),
        agreed("Flush", "", day(15), done=day(14)),
        agreed("Replace the controller", "Reader B", day(20, 8)),
    ]
    counts = by_person(audit(package(*rows)).agreed)
    table = {c.name: (c.agreed, *(c.taken[t] for t in (*Taken, None)), c.shown) for c in counts}
    # agreed, in time, late, not done, cannot be told, not due yet, effect shown
    assert table == {
        "Reader A": (2, 1, 0, 1, 0, 0, 1),
        "Reader B": (2, 0, 1, 0, 0, 1, 0),
        NOBODY: (1, 0, 0, 0, 1, 0, 0),
    }
    assert counts[0].name == "Reader A"


def packed(tmp_path: Path, book: bytes, month: str, name: str, fill: Row | None = None) -> bytes:
    """A review pack of a book, with its first Agenda row filled in."""
    at = tmp_path / name
    at.mkdir()
    (at / NAME).write_bytes(book)
    out = at / "out"
    done = CliRunner().invoke(
        main, ["review", str(at / NAME), "--month", month, "--no-pdf", "--out", str(out)]
    )
    assert done.exit_code == 0, done.output
    (made,) = out.glob("*.xlsx")
    pack = made.read_bytes()
    return pack if fill is None else filled({header_row(pack) + 1: fill}, pack)


@pytest.mark.at_length  # an agenda that was never entered is found in a pack
def test_packs_are_held_against_the_book_and_one_another(tmp_path: Path) -> None:
    clean, screen = agreed("Hand clean", due=day(10)), agreed("Replace the screen", due=day(30))
    may = packed(tmp_path, package(clean, screen, until=day(8)), "2026-06", "first")
    later = {**clean, "due": day(25)}
    june = packed(tmp_path, package(later, until=day(30)), "2026-07", "second")
    found = audit(package(later, screen), ("may.xlsx", may), ("june.xlsx", june))
    first, second = found.agreed
    (moved,) = first.agreement.unlike
    assert moved.startswith("due date 2026-06-10 in may.xlsx, Agreed!A")
    assert moved.endswith("; 2026-06-25 in june.xlsx")
    (dropped,) = second.agreement.unlike
    assert dropped.startswith("stands in may.xlsx, Agreed!A")
    assert dropped.endswith(", and not in june.xlsx")


@pytest.mark.at_length  # the one above holds packs against the book
def test_what_was_done_before_its_month_is_not_missed_in_a_later_pack(tmp_path: Path) -> None:
    row = agreed("Hand clean", due=day(15), done=day(12))
    june = packed(tmp_path, package(row, until=day(30)), "2026-06", "first")
    august = packed(tmp_path, package(row), "2026-07", "second")
    one = only(package(row), ("june.xlsx", june), ("july.xlsx", august))
    assert [source.name for source, _ in one.agreement.seen] == ["june.xlsx", ""]
    assert one.agreement.unlike == ()


def test_an_agenda_that_was_never_entered_is_said(tmp_path: Path) -> None:
    over = [read(day(8), 0.7), read(day(30), 0.2), read(day(31, 7), 0.3)]
    fill = {"Action": "Flush", "Who": "Reader A", "By when": day(20, 7)}
    pack = packed(tmp_path, package(work=(), until=day(8), readings=over), "2026-06", "p", fill)
    (one,) = audit(package(work=(), readings=over), ("pack.xlsx", pack)).agreed
    assert (one.agreement.last.action, one.agreement.last.due) == ("Flush", day(20, 7))
    assert one.taken is Taken.NOT_TAKEN
    assert one.agreement.unlike[0].startswith("stands in pack.xlsx, Agenda!")
    assert one.agreement.unlike[0].endswith(", and not in the book")


@pytest.mark.at_length  # a book without any says so
def test_without_another_file_the_table_says_what_it_cannot_see() -> None:
    book = package(agreed("Hand clean", due=day(15), done=day(12)))
    found = audit(book)
    assert "witness-agreed" not in {r.rule.code for r in found.results}
    made = audited_package(found, book, NAME)
    sheet = openpyxl.load_workbook(io.BytesIO(made))[AUDIT_SHEETS[1]]
    assert sheet.title == "Audit agreed"
    rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert "No earlier copy, archive or pack was given (--against)" in str(rows[2][0])
    heads = next(row for row in rows if row[0] == "Station")
    one = dict(zip(heads, rows[rows.index(heads) + 1], strict=True))
    assert one["Result"] == "Done in time"
    assert one["Done, in the log"] == "2026-06-12"
    assert one["Cell"] == "B2"
    people = next(row for row in rows if row[0] == "Person")
    assert rows[rows.index(people) + 1][:3] == ["Reader A", 1, 1]


def test_a_book_without_agreed_actions_says_so() -> None:
    book = package()
    made = audited_package(audit(book), book, NAME)
    sheet = openpyxl.load_workbook(io.BytesIO(made))["Audit agreed"]
    assert "None was found. No earlier copy" in str(sheet["A3"].value)


@pytest.mark.at_length  # a book without any says so
def test_no_agreed_action_in_the_files_given_reassures_of_nothing() -> None:
    kept = rule(audit(package(), ("june.xlsx", package())), "witness-agreed")
    assert (kept.state, kept.said) == (
        State.CANNOT, "No other file that was given holds an agreed action."
    )  # fmt: skip


def test_json_has_every_action_and_the_totals(tmp_path: Path) -> None:
    book = tmp_path / NAME
    book.write_bytes(package(agreed("Hand clean", due=day(15), done=day(12))))
    done = CliRunner().invoke(main, ["audit", str(book), "--json"])
    found = json.loads(done.output)["books"][0]["agreed"]
    assert found["actions"] == [
        {
            "station": "Alder", "action": "Hand clean", "who": "Reader A", "due": "2026-06-15",
            "first_due": "2026-06-15", "done_date": "2026-06-12", "seen_in_log": "2026-06-12",
            "state": "done in time", "days_late": 0,
            "said": "hand cleaning on 2026-06-12 (Work done!D2, by Reader B)",
            "effect": "shown", "effect_said": "drop 0.70 bar before, 0.15 bar on 2026-06-13",
            "in_book": True, "stands_in": [{"file": "the book", "place": "Agreed!B2"}],
            "unlike": [],
        }
    ]  # fmt: skip
    assert found["people"] == [
        {
            "name": "Reader A", "agreed": 1, "in_time": 1, "late": 0, "not_done": 0,
            "cannot_be_told": 0, "not_due_yet": 0, "effect_shown": 1,
        }
    ]  # fmt: skip
