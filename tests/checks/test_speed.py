"""The cross-row rules work on whole columns."""

from __future__ import annotations

import datetime as dt

from siltbook.checks.context import JoinedBook, join_lists
from siltbook.checks.fitness import cross_check
from siltbook.checks.register import station_repeated
from tests.checks.builders import book
from tests.effort import calls, must_end


def season(count: int) -> JoinedBook:
    """So many readings of 50 stations, and 2,000 pieces of work that no rule can place."""
    first = dt.date(2026, 1, 1)
    rows = [
        {
            "station": f"S{i % 50}", "date": first + dt.timedelta(days=i // 50),
            "inlet": 3 + i % 7 / 10, "outlet": 2 + i % 3 / 10, "flow": 20 + i % 11,
        }
        for i in range(count)
    ]  # fmt: skip
    work = [
        {"station": f"S{i % 50}", "date": first + dt.timedelta(days=i // 50), "work": "flush"}
        for i in range(500)
    ]
    stations = [{"station": f"S{i}"} for i in range(50)]
    return join_lists(book(rows, stations=stations, work=work), None)


def test_a_further_row_takes_hardly_a_call() -> None:
    few, many = season(500), season(2_500)
    found = cross_check(few)
    assert len([one for one in found if one.rule == "several-without-time"]) == 500
    cross_check(many)  # what is kept for the rules is there in both
    more = calls(lambda: cross_check(many)) - calls(lambda: cross_check(few))
    assert more < 8 * 2_000  # 6 a row; a rule that walks through cells takes more alone


def test_a_register_of_one_name_is_not_searched_for_each_of_its_rows() -> None:
    held = join_lists(book(stations=[{"station": "S"}] * 6_000), None)
    with must_end(5):  # 0.2 s; 7 s where every row looks for its first
        found = station_repeated(held)
    assert len(found) == 5_999
    assert "in row 2 already" in found[-1].message


def test_pandera_is_loaded_only_when_a_book_is_checked() -> None:
    import subprocess
    import sys

    code = (
        "import sys, siltbook.checks.fitness\n"
        "print('pandera' in sys.modules, 'pandas' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["False", "False"]
