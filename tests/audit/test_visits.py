"""A list of visits: readings on days when nobody was there."""

from __future__ import annotations

import io
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import RuleResult, State
from siltbook.batch.audit.visits import read_visits
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from tests.audit.farm import Farm, half, open_places

NAME = "gate.csv"
pytestmark = pytest.mark.usefixtures("without_what_would_be")


def days_of(farm: Farm) -> list[str]:
    return sorted({str(row["date"]) for row in (*farm.readings, *farm.work)})


def table(rows: list[str]) -> bytes:
    return "\n".join(["Date,Person", *rows]).encode()


def asked(farm: Farm, visits: bytes, name: str = NAME) -> RuleResult:
    audit = audit_bytes(farm.package(), "farm.xlsx", visits=(name, visits))
    (rule,) = (r for r in audit.results if r.rule.code == "nobody-there")
    return rule


def test_a_season_whose_days_are_all_in_the_list_is_quiet() -> None:
    rule = asked(half(), table(days_of(half())))
    assert rule.state is State.QUIET
    entries = len(half().readings) + len(half().work)
    assert rule.said.startswith(f"All {entries} entries in the days of gate.csv (")


def test_readings_on_a_day_without_a_visit_are_named() -> None:
    days = days_of(half())
    left_out = days.pop(9)
    rows = [row for row in half().readings if str(row["date"]) == left_out]
    rule = asked(half(), table(days))
    places = [p for p in open_places(rule) if p.sheet == "Readings"]
    assert len(places) == len(rows)
    station = rows[0]["station"]
    said = f"{station}, {left_out}: read on a day on which gate.csv has no visit"
    assert places[0].said == said


def test_a_person_who_was_not_there_that_day_is_named_and_an_unknown_one_is_not() -> None:
    farm = half()
    days = days_of(farm)
    for row in farm.readings:
        row["read_by"] = "Reader A"
    farm.readings[30]["read_by"] = "reader  b"
    farm.readings[40]["read_by"] = "A visitor"
    day = str(farm.readings[30]["date"])
    other = next(d for d in days if d != day)
    people = dict.fromkeys(days, "Reader A") | {other: "Reader A and Reader B"}
    rule = asked(farm, table([f"{d},{p}" for d, p in people.items()]))
    (place,) = open_places(rule)
    assert place.said.endswith(
        f"{day}: read by reader b, while gate.csv has Reader A there that day"
    )


def test_days_outside_of_the_list_are_not_asked() -> None:
    rule = asked(half(), table(days_of(half())[:5]))
    assert rule.state is State.QUIET
    assert rule.said.endswith("lie before or after it and were not asked.")
    assert asked(half(), table(["1999-01-04", "1999-02-04"])).state is State.CANNOT


def test_a_workbook_is_taken() -> None:
    book = openpyxl.Workbook()
    for row in (["Gate log"], ["Day", "Who"], *([d, "Reader A"] for d in days_of(half()))):
        book.active.append(row)  # type: ignore[union-attr]
    target = io.BytesIO()
    book.save(target)
    assert asked(half(), target.getvalue(), "gate.xlsx").state is State.QUIET


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"Who,Room\nA,B\n", "gate.csv: no column of visit dates was found; accepted: a row with"),
        (b"Date,Person\n", "gate.csv: no visit stands below the headers; accepted: a row with"),
        (b"Date,Person\nsoon,A\n", 'gate.csv, A2: read "soon"; accepted: a date such as'),
        (b"Date\n2026-03-02\n03/04/2026\n", 'gate.csv, A3: read "03/04/2026", in which day and'),
    ],
)
def test_what_cannot_be_read_is_refused_in_one_sentence(data: bytes, said: str) -> None:
    with pytest.raises(BookError) as refused:
        read_visits(data, NAME)
    assert str(refused.value).startswith(said)


def test_one_date_that_settles_the_order_settles_the_others() -> None:
    read = read_visits(b"Date\n03/04/2026\n25/04/2026\n", NAME)
    assert [str(day) for day in read.days] == ["2026-04-03", "2026-04-25"]


def test_the_command_takes_the_list(tmp_path: Path) -> None:
    book, visits = tmp_path / "farm.xlsx", tmp_path / NAME
    book.write_bytes(half().package())
    days = days_of(half())
    visits.write_bytes(table([*days[:9], *days[10:]]))
    done = CliRunner().invoke(main, ["audit", str(book), "--visits", str(visits)])
    assert done.exit_code == 1
    assert "? Entries on days when nobody was there: " in done.output
    visits.write_bytes(b"nothing")
    done = CliRunner().invoke(main, ["audit", str(book), "--visits", str(visits)])
    assert done.exit_code == 3
    assert "no column of visit dates was found" in done.output
