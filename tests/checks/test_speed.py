"""The cross-row rules work on whole columns."""

from __future__ import annotations

import datetime as dt
import time

from siltbook.checks.context import join_lists
from siltbook.checks.fitness import cross_check
from siltbook.checks.register import station_repeated
from tests.checks.builders import book


def test_ten_thousand_rows_take_well_under_a_second() -> None:
    first = dt.date(2026, 1, 1)
    rows = [
        {
            "station": f"S{i % 50}", "date": first + dt.timedelta(days=i // 50),
            "inlet": 3 + i % 7 / 10, "outlet": 2 + i % 3 / 10, "flow": 20 + i % 11,
        }
        for i in range(10_000)
    ]  # fmt: skip
    work = [
        {"station": f"S{i % 50}", "date": first + dt.timedelta(days=i // 50), "work": "flush"}
        for i in range(2_000)
    ]
    big = book(rows, stations=[{"station": f"S{i}"} for i in range(50)], work=work)
    begin = time.process_time()
    found = cross_check(join_lists(big, None))
    assert time.process_time() - begin < 1.5  # 0.2 s
    assert len([one for one in found if one.rule == "several-without-time"]) == 2_000


def test_a_register_of_one_name_is_not_searched_for_each_of_its_rows() -> None:
    held = join_lists(book(stations=[{"station": "S"}] * 6_000), None)
    begin = time.process_time()
    found = station_repeated(held)
    assert time.process_time() - begin < 3  # 0.2 s; 7 s where every row looks for its first
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
