"""Rows adopted into a book mean there what the source says, in whatever unit a cell is read."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.adopt.into import Filled, fill
from siltbook.batch.adopt.model import Amount, Harvest
from siltbook.batch.cli import main
from siltbook.batch.errors import BookError
from siltbook.batch.reading.book import read_book
from siltbook.templates.units import cubic_metres_per_hour_per, metres_per
from tests.typed.farm import opened, saved
from tests.typed.in_units import Rows, small_book

NAME = "farm.xlsx"
OLD, DAY = dt.date(2026, 5, 1), dt.date(2026, 6, 5)
HELD = {"station": "North", "date": OLD, "inlet": 3.0, "outlet": 2.9}


def book(stations: Rows, readings: Rows = (HELD,), gauges: Rows = (), unit: str = "bar") -> bytes:
    return small_book(unit, stations, readings, gauges)


def into(home: bytes, unit: str = "bar", station: str = "North") -> Filled:
    """One reading of 30 m and 29 m of water at the gauges, 36 m3/h, and a flush at 25 m."""
    per = metres_per(unit)
    row = {
        "station": station, "date": DAY, "inlet": Amount(30 / per, unit),
        "outlet": Amount(29 / per, unit), "flow": Amount(10.0, "L/s"), "where": "source row 2",
    }  # fmt: skip
    work = {"station": station, "date": DAY, "work": "flush", "flush_inlet": Amount(25 / per, unit)}
    return fill(home, NAME, Harvest(readings=[row]), [work])


def means(filled: Filled, station: str = "North") -> tuple[float, ...]:
    """Inlet, outlet, flow and lowest inlet of the rows that came, as the program reads them."""
    assert filled.data is not None
    read = read_book(filled.data, NAME).book
    new = read.readings.frame.query("station == @station and date == @DAY").iloc[0]
    flush = read.work.frame.query("station == @station").iloc[0]
    return (new["inlet"], new["outlet"], new["flow"], flush["flush_inlet"])


TRUE = pytest.approx((30.0, 29.0, 36.0, 25.0), rel=1e-8)


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("source", ["bar", "psi", "kPa"])
@pytest.mark.parametrize("farm", ["bar", "psi"])
def test_rows_go_in_the_unit_of_farm_or_station(farm: str, source: str) -> None:
    assert means(into(book([{"station": "North"}], unit=farm), source)) == TRUE
    assert means(into(book([{"station": "North", "unit": "kPa"}], unit=farm), source)) == TRUE


def test_rows_after_a_changed_gauge_go_in_its_unit() -> None:
    """In bar, 30 m would be read as 2 m behind a gauge in psi."""
    since = {"station": "North", "since": dt.date(2026, 6, 1), "unit": "psi"}
    filled = into(book([{"station": "North"}], gauges=[since]))
    assert means(filled) == TRUE
    assert filled.data is not None
    raw = read_book(filled.data, NAME).book.readings.raw["inlet"]
    assert max(raw.values()) == pytest.approx(30 / metres_per("psi"), rel=1e-8)  # type: ignore[type-var]


def headed(home: bytes, **heads: str) -> bytes:
    """A book whose headers of *Readings* state units of their own."""
    made: openpyxl.Workbook = opened(home)
    for column, text in heads.items():
        made["Readings"][f"{column}1"] = text
    return saved(made)


def test_rows_go_in_the_units_that_headers_state() -> None:
    home = headed(book([{"station": "North"}]), C="Inlet pressure (psi)", D="Outlet pressure (kPa)",
                  E="Flow (gpm)")  # fmt: skip
    assert means(into(home)) == TRUE
    assert cubic_metres_per_hour_per("gpm") < 1


def test_a_reading_that_the_book_has_in_another_unit_is_the_same_one() -> None:
    """Read by the farm's unit alone it would be a conflict, or stand there twice."""
    since = {"station": "North", "since": dt.date(2026, 6, 1), "unit": "psi"}
    once = into(book([{"station": "North"}], gauges=[since]))
    assert once.data is not None
    again = into(once.data, "kPa")
    assert (again.readings, again.work, again.already, again.conflicts) == (0, 0, 2, [])


def test_a_new_station_has_the_unit_of_its_source() -> None:
    filled = into(book([{"station": "North"}]), "psi", "Far")
    assert means(filled, "Far") == TRUE
    assert filled.data is not None
    frame = read_book(filled.data, NAME).book.stations.frame
    assert frame.set_index("station").loc["Far", "unit"] == "psi"


def test_a_station_whose_rows_the_book_has_unlisted_keeps_the_farm_s_unit() -> None:
    """With a unit of its own in the register, its older rows would be other pressures."""
    home = book([{"station": "North"}], [HELD, {**HELD, "station": "Far"}])
    filled = into(home, "psi", "Far")
    assert means(filled, "Far") == TRUE
    assert filled.data is not None
    read = read_book(filled.data, NAME).book
    assert read.stations.frame.set_index("station").loc["Far", "unit"] is None
    old = read.readings.frame.query("station == 'Far' and date == @OLD").iloc[0]
    assert old["inlet"] == pytest.approx(3.0 * metres_per("bar"))


def refused(made: openpyxl.Workbook) -> str:
    with pytest.raises(BookError) as caught:
        into(saved(made))
    return str(caught.value)


def test_into_a_unit_that_nobody_knows_nothing_is_entered() -> None:
    farm = opened(book([{"station": "North"}]))
    farm["Farm"]["B2"] = "bushels"
    assert refused(farm) == (
        "farm.xlsx: a unit of pressure or flow on its sheets Farm, Stations or Gauges is not known,"
        " so nothing can be entered in it: correct it there ('siltbook check' names the cell); "
        "nothing was changed."
    )
    since = {"station": "North", "since": dt.date(2026, 6, 1), "unit": "psi"}
    for sheet, cell in (("Stations", "D2"), ("Gauges", "D2")):
        made = opened(book([{"station": "North", "unit": "psi"}], gauges=[since]))
        made["Gauges"]["D2"] = "psi" if sheet == "Gauges" else None
        made[sheet][cell] = "bushels"
        assert refused(made) == (
            "farm.xlsx: the rows cannot be added to its sheet Readings, since they would not be "
            "read there as the source has them, for example because a unit is not known: "
            "'siltbook check' names what to correct; nothing was changed."
        )


def test_a_book_of_this_program_in_two_units_is_no_source(tmp_path: Path) -> None:
    """Its one station in psi would come as 43 bar."""
    source = tmp_path / "north.xlsx"
    stations: Rows = [{"station": "North"}, {"station": "South", "unit": "psi"}]
    south = {"station": "South", "date": OLD, "inlet": 43.5, "outlet": 40.3}
    source.write_bytes(book(stations, (HELD, south)))
    said = CliRunner().invoke(main, ["adopt", str(source)])
    assert said.exit_code == 3
    assert said.stderr == (
        "siltbook: north.xlsx is a book that Siltbook reads as it stands, with the units of its "
        "stations and gauges: 'siltbook run north.xlsx' judges it, and 'siltbook merge BOOK "
        "north.xlsx' brings its rows into another book. For a table on a sheet of your own in it, "
        "copy that sheet into a file of its own and give that; nothing was changed.\n"
    )
    assert sorted(p.name for p in tmp_path.iterdir()) == ["north.xlsx"]


def test_what_is_due_is_not_proposed_as_done(tmp_path: Path) -> None:
    """The day by which a flush was to be run was taken for the day on which it was."""
    made = openpyxl.Workbook()
    readings = made.active
    assert readings is not None
    rows = [["Station", "Date", "Inlet (bar)", "Outlet (bar)"], ["North", OLD, 3.0, 2.8]]
    for row in [*rows, ["North", DAY, 3.0, 2.7]]:
        readings.append(row)
    plan = made.create_sheet("Plan")
    for row in (["Station", "Action", "Who", "Due date"], ["North", "Flush it", "Ann", DAY]):
        plan.append(row)
    made.save(tmp_path / "own.xlsx")
    said = CliRunner().invoke(main, ["adopt", str(tmp_path / "own.xlsx")])
    assert said.exit_code == 0, said.output
    assert "Read 4 rows: used 2, proposed 0, left out 2 (sheet Left out)." in said.stdout


def test_a_conflict_names_both_values_with_their_units() -> None:
    """It said 'inlet 3.1; Readings row 2 says otherwise', whatever unit either was in."""
    held = {"station": "North", "date": DAY, "inlet": 3.1, "outlet": 2.9}
    home = book([{"station": "North"}], [held])
    row = {
        "station": "North", "date": DAY, "inlet": Amount(40.0, "psi"),
        "outlet": Amount(2.9, "bar"), "flow": Amount(10.0, "L/s"), "where": "old.csv row 4",
    }  # fmt: skip
    filled = fill(home, NAME, Harvest(readings=[row]), [])
    assert filled.conflicts == [
        "North, 2026-06-05: old.csv row 4 says Inlet pressure 40 psi (2.7579 bar), Flow 10 "
        "L/s (36 m3/h); Readings row 2 says Inlet pressure 3.1 bar, Flow nothing. It was not "
        "entered."
    ]
    works = book([{"station": "North"}], unit="psi")
    first = {"station": "North", "date": DAY, "work": "flush",
             "flush_inlet": Amount(30.0, "psi")}  # fmt: skip
    home = fill(works, NAME, Harvest(), [first]).data or b""
    other = {**first, "flush_inlet": Amount(31.0, "psi"), "where": "old.csv row 9"}
    assert fill(home, NAME, Harvest(), [other]).conflicts == [
        "North, 2026-06-05: old.csv row 9 says Lowest inlet in flush 31 psi; Work done row "
        "2 says Lowest inlet in flush 30 psi. It was not entered."
    ]
