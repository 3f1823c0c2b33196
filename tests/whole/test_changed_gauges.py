"""A gauge changed in the middle of a season leaves the earlier readings as they were."""

from __future__ import annotations

import io
import math
from typing import Any

import openpyxl
import pytest

from siltbook.batch.job import review_bytes
from siltbook.batch.numbers.runs import fall_between
from siltbook.templates.blank import BlankOptions, build
from tests.whole.verdicts import Row, day, filled, judged, messages, reading, said, station

REGISTER = station(
    Gauge_arrangement="two gauges", Gauge_full_scale=6, Gauge_division=0.1, **{"Gauge class (%)": 1}
)
BAR = [reading(day(n), 3.2, 3.0) for n in range(1, 6)]
KPA = [reading(day(n), 320, 250) for n in range(11, 13)]


def changed(**more: Any) -> list[Row]:
    row = {"Station": "North 1", "From": day(10)}
    return [row | {k.replace("_", " "): v for k, v in more.items()}]


NEW = changed(Arrangement="one gauge", Full_scale=600, Division=1, Pressure_unit="kPa",
              **{"Class (%)": 0.6})  # fmt: skip


def book(**more: Any) -> bytes:
    return filled(**({"Stations": REGISTER, "Readings": [*BAR, *KPA], "Gauges": NEW} | more))


def test_april_stays_in_bar_and_may_is_read_in_kpa() -> None:
    result = judged(book())
    before, after = result.history.readings[0], result.history.readings[-1]
    assert before.drop == pytest.approx(2.0394, abs=1e-3)
    assert after.drop == pytest.approx(7.1380, abs=1e-3)
    alone = judged(filled(Stations=REGISTER, Readings=BAR)).history.readings[0]
    assert (before.u_drop, before.p_over) == (alone.u_drop, alone.p_over)
    # 1 kPa over the root of 6; 0.6 % over the root of 3 of the drop and a quarter of 600 kPa
    assert after.u_drop == pytest.approx(math.hypot(0.04163, 0.003464 * 16.88), abs=1e-4)
    assert said(book()) == (
        "flush",
        "Drop 7.14 m on 2026-06-12, 2.14 m over the limit of 5.00 m; over since 2026-06-11, no"
        " complete flush since.",
    )
    assert messages(book(), "unit-contradicts") == messages(book(), "pressure-beyond-gauge") == []


def test_what_the_new_gauge_leaves_empty_is_not_known_of_it() -> None:
    first, last = (judged(book(Gauges=changed(Pressure_unit="kPa"))).history.readings[i]
                   for i in (0, -1))  # fmt: skip
    assert first.u_drop is not None
    assert last.u_drop is None
    assert last.drop == pytest.approx(7.1380, abs=1e-3)


def test_across_two_gauges_the_class_of_both_counts() -> None:
    same = [reading(day(9), 3.2, 2.95), reading(day(11), 3.2, 3.1)]
    coarse = changed(Arrangement="two gauges", Full_scale=6, Division=0.01, **{"Class (%)": 2.5})
    fine = station(Gauge_arrangement="two gauges", Gauge_full_scale=6, Gauge_division=0.01,
                   **{"Gauge class (%)": 2.5})  # fmt: skip
    for gauges, falls in (([], True), (coarse, False)):
        pair = judged(filled(Stations=fine, Readings=same, Gauges=gauges)).history.readings
        assert (fall_between(pair[0], pair[1], None) is not None) == falls


@pytest.mark.filterwarnings("ignore:.*extension is not supported")
def test_workings_lead_to_the_gauge_of_each_reading() -> None:
    package = review_bytes(book(), "n.xlsx", "n.xlsx").package
    sheet = openpyxl.load_workbook(io.BytesIO(package))["Workings"]
    rows = [[str(c.value) for c in row] for row in sheet.iter_rows(min_row=5, max_row=11)]
    assert ["bar" in row for row in rows] == [True] * 5 + [False] * 2
    assert ["kPa" in row for row in rows] == [False] * 5 + [True] * 2
    assert ["Stations" in "".join(row) for row in rows] == [True] * 5 + [False] * 2
    assert ["Gauges" in "".join(row) for row in rows] == [False] * 5 + [True] * 2


def test_two_gauges_from_one_day_on_are_told() -> None:
    assert messages(book(Gauges=[*NEW, *NEW]), "gauge-twice")[0].startswith("Gauges!A3: ")


def test_a_change_at_a_station_that_no_register_names_is_no_fault() -> None:
    row: dict[str, object] = {"station": "North 1", "since": day(10), "gauges": "one gauge"}
    (told,) = messages(build(BlankOptions(), {"Gauges": [row]}), "station-unknown")
    assert told.startswith("Gauges!A2: ")
