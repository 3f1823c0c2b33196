"""Copies in other units: numbers are converted, and a unit word changes no number of the book."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest

from siltbook.batch.merging.job import Merged
from siltbook.batch.merging.points import TAKE, coded, decoded
from siltbook.batch.reading.book import read_book
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import PRESSURE_UNITS
from siltbook.templates.units import metres_per
from tests.merging.test_merge import NAME, changed, choose, lines_of, merged
from tests.typed.farm import DAY, opened
from tests.typed.in_units import Rows
from tests.typed.in_units import small_book as book


def north(unit: str, metres: float = 4.0) -> Rows:
    """North with a limit of `metres`, typed in `unit`."""
    return [{"station": "North", "drop_limit": metres / metres_per(unit)}]


def read(station: str, day: int, metres: float, unit: str) -> dict[str, Any]:
    """A reading with an inlet of `metres`, typed in `unit`, and an outlet 2 m lower."""
    per = metres_per(unit)
    return {
        "station": station, "date": DAY + dt.timedelta(day),
        "inlet": metres / per, "outlet": (metres - 2.0) / per,
    }  # fmt: skip


def metres(done: Merged | bytes) -> dict[tuple[str, dt.date], float]:
    """Inlets of a book as the program reads them [m], by station and day."""
    data = done if isinstance(done, bytes) else done.data
    assert data is not None
    frame = read_book(data, NAME).book.readings.frame
    return {(r["station"], r["date"]): round(r["inlet"], 6) for r in frame.to_dict("records")}


def said(done: Merged) -> list[str]:
    """The lines that wait, as a person reads them in the terminal."""
    return [line.strip() for line in lines_of(done, Path(NAME), None)][1:]


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("unit", PRESSURE_UNITS)
def test_a_station_limit_of_another_unit_is_compared_and_taken_as_what_it_is(unit: str) -> None:
    """6 psi into a cell that is read in bar would be a limit that no filter ever reaches."""
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    same = [p for p in merged(home, book(unit, north(unit))).points if p.sheet == "Stations"]
    assert same == []

    done = merged(home, book(unit, north(unit, 3.0)))
    limit = next(p for p in done.points if p.header == "Drop limit" and p.sheet == "Stations")
    assert limit.titled == "Drop limit (bar)"
    assert done.data is not None
    taken = merged(choose(done.data, TAKE))
    assert taken.data is not None
    frame = read_book(taken.data, NAME).book.stations.frame
    assert frame["drop_limit"].tolist() == pytest.approx([3.0], rel=1e-7)


def test_limits_in_metres_beside_readings_in_bar_stay_metres() -> None:
    home = book("bar", [{"station": "North", "drop_limit": 4.0}], limits_in="m")
    copy = book("psi", north("psi", 3.0))
    point = next(p for p in merged(home, copy).points if p.header == "Drop limit" and
                 p.sheet == "Stations")  # fmt: skip
    assert (point.mine, point.titled) == (4.0, "Drop limit (m)")
    assert point.theirs == pytest.approx(3.0, rel=1e-9)


def test_the_unit_of_the_farm_is_said_and_never_taken() -> None:
    """Taken, every reading of the book would be another pressure."""
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    done = merged(home, book("psi", north("psi"), [read("North", 1, 31.0, "psi")]))
    assert metres(done) == {("North", DAY): 30.0, ("North", DAY + dt.timedelta(1)): 31.0}
    line = "Farm, pressure_unit, Pressure unit: another unit; numbers were converted to this"
    line += " book's: 'bar' here, 'psi' in copy-1.xlsx [Farm!B2 / Farm!B2]"
    assert line in said(done)
    assert done.data is not None
    assert merged(choose(done.data, TAKE)).data is None  # whatever is typed there


def test_a_line_of_an_earlier_version_that_offers_a_unit_is_not_carried_out() -> None:
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    point = next(p for p in merged(home, book("psi", north("psi"))).points if p.op == "unit")
    text = coded(point).replace('"op": "unit"', '"op": "cell"').replace(', "unit": ""', "")
    assert '"op": "cell"' in text
    assert '"unit"' not in text
    found = decoded(text, TAKE)
    assert found is not None
    assert not found.can_be_taken
    assert found.op == "unit"


def test_a_new_station_keeps_its_own_unit_with_its_readings_as_they_were_typed() -> None:
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    new = [*north("bar"), {"station": "Far", "unit": "psi", "full_scale": 100.0}]
    done = merged(home, book("bar", new, [read("Far", 1, 31.0, "psi")]))
    assert metres(done)["Far", DAY + dt.timedelta(1)] == 31.0
    assert done.data is not None
    made = read_book(done.data, NAME).book
    far = made.stations.frame.set_index("station").loc["Far"]
    assert far["unit"] == "psi"
    assert far["full_scale"] == pytest.approx(100 * metres_per("psi"))
    assert 31.0 / metres_per("psi") in [
        pytest.approx(v, rel=1e-9) for v in made.readings.raw["inlet"].values()
    ]


def test_copies_that_disagree_on_a_new_station_are_converted_to_the_farm() -> None:
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    copies = [
        book("bar", [*north("bar"), {"station": "Far", "unit": unit}], [read("Far", n, 31.0, unit)])
        for n, unit in enumerate(("psi", "kPa"), 1)
    ]
    done = merged(home, *copies)
    assert [metres(done)["Far", DAY + dt.timedelta(n)] for n in (1, 2)] == [31.0, 31.0]
    assert done.data is not None
    frame = read_book(done.data, NAME).book.stations.frame
    assert frame.set_index("station").loc["Far", "unit"] is None
    told = [line for line in said(done) if line.startswith("Stations, far, Pressure unit")]
    assert [line.split("' in copy")[0].split("'")[-1] for line in told] == ["kPa", "psi"]


def test_a_blank_unit_is_not_filled_where_the_book_has_numbers_in_the_farm_s() -> None:
    """Filled, what was typed in bar would be read as psi, fourteen times less."""
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    other = [{**north("bar")[0], "unit": "psi"}]
    done = merged(home, book("bar", other, [read("North", 1, 31.0, "psi")]))
    assert metres(done) == {("North", DAY): 30.0, ("North", DAY + dt.timedelta(1)): 31.0}
    assert any(
        line.startswith("Stations, north, Pressure unit: another unit") for line in said(done)
    )


def test_a_changed_gauge_comes_with_its_unit_where_nothing_was_read_since() -> None:
    since = {"station": "North", "since": DAY + dt.timedelta(1), "unit": "psi", "full_scale": 100.0}
    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    readings = [read("North", 0, 30.0, "bar"), read("North", 1, 31.0, "psi")]
    done = merged(home, book("bar", north("bar"), readings, [since]))
    assert metres(done) == {("North", DAY): 30.0, ("North", DAY + dt.timedelta(1)): 31.0}
    assert done.data is not None
    frame = read_book(done.data, NAME).book.gauges.frame
    assert frame["unit"].tolist() == ["psi"]
    assert frame["full_scale"].tolist() == pytest.approx([100 * metres_per("psi")])


def test_a_changed_gauge_comes_without_its_unit_where_the_book_has_readings_since() -> None:
    since = {"station": "North", "since": DAY + dt.timedelta(1), "unit": "psi", "full_scale": 100.0}
    home = book("bar", north("bar"), [read("North", 2, 30.0, "bar")])
    done = merged(home, book("bar", north("bar"), [read("North", 1, 31.0, "psi")], [since]))
    later = DAY + dt.timedelta(2)
    assert metres(done) == {("North", later): 30.0, ("North", DAY + dt.timedelta(1)): 31.0}
    assert done.data is not None
    frame = read_book(done.data, NAME).book.gauges.frame
    assert frame["unit"].tolist() == [None]
    assert frame["full_scale"].tolist() == pytest.approx([100 * metres_per("psi")])
    assert any(
        line.startswith("Gauges, north · 2026-06-02, Pressure unit: another") for line in said(done)
    )


def test_a_unit_that_nobody_knows_brings_its_numbers_as_words() -> None:
    def odd(book_: Any) -> None:
        book_["Farm"]["B2"] = "bushels"

    home = book("bar", north("bar"), [read("North", 0, 30.0, "bar")])
    copy = changed(book("bar", north("bar"), [read("North", 1, 31.0, "bar")]), odd)
    done = merged(home, copy)
    assert done.data is not None
    cells = [str(c.value) for c in opened(done.data)["Readings"]["C"]]
    assert any("(in the copy's unit)" in text for text in cells)


def test_two_names_of_other_units_are_not_made_one_station() -> None:
    home = book("bar", [*north("bar"), {"station": "Pump house east"}],
                [read("North", 0, 30.0, "bar")])  # fmt: skip
    copy = book("bar", [*north("bar"), {"station": "Pumphouse east", "unit": "psi"}],
                [read("Pumphouse east", 1, 31.0, "psi")])  # fmt: skip
    done = merged(home, copy)
    assert done.data is not None
    assert [p.op for p in done.points if not p.state] == ["alias"]
    again = merged(choose(done.data, TAKE))
    assert [p.state for p in again.points] == ["not taken: the two have other units"]
    assert metres(done)["Pumphouse east", DAY + dt.timedelta(1)] == 31.0


def test_what_a_blank_says_beside_its_settings_is_nobody_s_word() -> None:
    blanks = [
        build(BlankOptions(unit, farm="Invented", limits_in=unit), {"Stations": north(unit)})
        for unit in ("bar", "psi", "m")
    ]
    done = merged(*blanks)
    assert {p.op for p in done.points} == {"cell", "unit"}
