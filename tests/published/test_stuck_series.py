"""Stuck and impossible series of an open data set, typed in as readings (S08).

Cloth filter, daily averages, 363 days x 26 columns: lukedurell/mowater, MIT. What is known of it
was counted on the reference page [C]: 11 columns never change, the effluent's suspended solids
stand at 51.76727676 throughout (why is not documented), the influent's flow is negative on 3 days.
"""

from __future__ import annotations

import csv
import datetime as dt
from pathlib import Path

import pytest

from siltbook.checks.context import join_lists
from siltbook.checks.findings import Finding
from siltbook.checks.visits import rows_copied
from tests.checks.builders import Row, book
from tests.checks.helpers import found

DATA = (
    Path(__file__).parents[3] / "shared" / "reference" / "datasets"
    / "mowater_cloth_filter_daily_averages_online.csv"
)  # fmt: skip
pytestmark = pytest.mark.skipif(
    not DATA.is_file(), reason="../shared/reference/datasets is not here"
)
TSS, FLOW = "adfs_effluent_tss_process_value", "adfs_influent_flow_process_value"


def columns() -> dict[str, list[str]]:
    with DATA.open(newline="") as file:
        rows = list(csv.DictReader(file))
    return {name: [row[name] for row in rows] for name in rows[0]}


def readings(days: list[str], outlets: list[str], flows: list[str] | None = None) -> list[Row]:
    """One reading a day [bar] of a gauge that shows one column of the data set."""
    return [
        {
            "station": "North 1", "date": dt.date.fromisoformat(day),
            "inlet": float(outlet) + 0.2, "outlet": float(outlet),
            "flow": None if flows is None else float(flows[n]),
        }
        for n, (day, outlet) in enumerate(zip(days, outlets, strict=True))
    ]  # fmt: skip


def stuck_throughout(days: list[str], one: Finding) -> bool:
    return one.read.endswith(f", {days[0]} to {days[-1]}")


def test_s08_the_columns_that_never_change_are_found_and_no_others() -> None:
    data = columns()
    days = data.pop("Date")
    assert (len(days), len(data)) == (363, 25)
    copied = {k: rows_copied(join_lists(book(readings(days, v)), None)) for k, v in data.items()}
    stuck = {k for k, f in copied.items() if len(f) == 1 and stuck_throughout(days, f[0])}
    assert len(stuck) == 11
    assert stuck == {name for name, values in data.items() if len(set(values)) == 1}


def test_s08_the_message_names_the_stuck_value_and_its_days() -> None:
    data = columns()
    (one,) = found(book(readings(data["Date"], data[TSS])), "rows-copied")
    assert one.message == (
        "Readings!D2: identical readings copied down: read inlet 51.96727676 bar, outlet"
        f" 51.76727676 bar in rows 2, 3, 4, 5, 6, 7 and 357 more, {data['Date'][0]} to"
        f" {data['Date'][-1]}; accepted: readings that differ at least now and then. Check that"
        " each was really read."
    )


def test_s08_the_days_of_negative_flow() -> None:
    data = columns()
    level = data["adfs_basin_level_process_value"]
    odd = found(book(readings(data["Date"], level, data[FLOW])), "flow-not-positive")
    assert [one.cell for one in odd] == [
        f"F{n + 2}" for n, flow in enumerate(data[FLOW]) if flow.startswith("-")
    ]
    assert len(odd) == 3
    assert any("-3.609" in one.read for one in odd)
