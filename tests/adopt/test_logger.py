"""Logger files: readings in steady service, flushes from dips, gaps, clocks, sensors, counts."""

from __future__ import annotations

import datetime as dt
import io
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from openpyxl.comments import Comment
from openpyxl.styles import Font

from sample_workbooks.logger_file import Logged, as_text
from siltbook.batch.adopt.job import Adoption, Source, look
from siltbook.batch.adopt.loud import sentences
from siltbook.batch.adopt.model import Amount
from tests.adopt.farms import siltbook
from tests.adopt.test_command import change, find
from tests.amount import LONG

HOUR = Logged(days=30, step=60)


def adopt(data: bytes) -> Adoption:
    return look([Source(Path("logger.csv"), data)])


def drops(seen: Adoption) -> dict[object, float]:
    made = {}
    for row in seen.rows.readings:
        inlet, outlet = row["inlet"], row["outlet"]
        assert isinstance(inlet, Amount)
        assert isinstance(outlet, Amount)
        made[row["date"]] = inlet.value - outlet.value
    return made


@pytest.mark.at_length(keep="60")
@pytest.mark.parametrize("step", [5, 60, 300, 900])
def test_one_reading_a_day_is_the_drop_in_steady_service(step: int) -> None:
    days = 20 if step > 5 or LONG else 4
    data, truth = as_text(Logged(days=days, step=step))
    seen = adopt(data)
    assert len(truth.drops) >= days - 1
    assert set(drops(seen)) == set(truth.drops)
    for day, drop in drops(seen).items():
        assert drop == pytest.approx(truth.drops[day], abs=0.02), day


def test_flushes_are_proposed_with_cycles_and_lowest_inlet() -> None:
    data, truth = as_text(HOUR)
    work = adopt(data).rows.work
    assert [(w["date"], w["cycles"]) for w in work] == [(d, n) for d, n, _ in truth.flushes]
    for row, (_, _, lowest) in zip(work, truth.flushes, strict=True):
        assert isinstance(row["flush_inlet"], Amount)
        assert row["flush_inlet"].value == pytest.approx(lowest, abs=0.05)
        assert str(row["remark"]).startswith("from the logger: inlet fell to 2.")


def test_a_dip_without_a_fall_of_the_drop_is_no_flush() -> None:
    data, _ = as_text(Logged(days=10, step=60, flushes=()))
    lines = data.decode().splitlines()
    at = next(i for i, line in enumerate(lines) if "2026-05-04 09:00:00" in line)
    for i in (at, at + 1):
        lines[i] = lines[i].split(",")[0] + ",1.900,1.700"
    assert adopt("\n".join(lines).encode()).rows.work == []


def test_every_record_is_counted_once() -> None:
    data, _ = as_text(Logged(days=12, step=60, gap=(4000, 6000), twice=40, set_back=5))
    rows = adopt(data).rows
    assert rows.read == 12 * 1440 - 2000 + 40
    assert rows.read == rows.used + rows.proposed + rows.not_used
    why = {one.why: one.rows for one in rows.left_out}
    assert why["the same time twice"] == 41  # one more: the second that the clock was set back to
    assert why["the clock was set back, so the hour stands twice"] == 59


def test_struck_records_and_notes_of_a_loggers_workbook_are_left_out_by_name() -> None:
    """A record with a line through its date counted as any other."""
    book = openpyxl.Workbook()
    page = book.worksheets[0]
    page.append(["Date and time", "Inlet (bar)", "Outlet (bar)"])
    for at in range(288):
        page.append([dt.datetime(2026, 5, 4) + dt.timedelta(minutes=5 * at), 3.0, 2.8])
    for row in (40, 41):
        page[f"A{row}"].font = Font(strike=True)
    page["B50"].comment = Comment("sensor wet", "Ann")
    target = io.BytesIO()
    book.save(target)
    seen = look([Source(Path("own.xlsx"), target.getvalue())])
    (table,) = seen.made.tables
    assert table.logger
    rows = seen.rows
    assert rows.read == 288 == rows.used + rows.proposed + rows.not_used
    assert (
        "Left out although they hold pressures or work: own.xlsx, sheet Sheet, rows 40 and 41"
        " (date, time or station struck through)." in " ".join(sentences([table], rows))
    )
    assert ("own.xlsx, sheet Sheet, cell B50", "sensor wet") in [
        (one.where, one.what) for one in rows.left_out
    ]


def test_a_logger_of_the_drop_alone_reads_clean_filters_too() -> None:
    data, truth = as_text(Logged(days=24, step=60, noise=0.003))
    lines = ["Timestamp,Differential pressure (bar)"]
    for line in data.decode().splitlines()[1:]:
        stamp, inlet, outlet = line.split(",")
        lines.append(f"{stamp},{float(inlet) - float(outlet):.3f}")
    made = {}
    for row in adopt("\n".join(lines).encode()).rows.readings:
        assert isinstance(row["drop"], Amount)
        made[row["date"]] = row["drop"].value
    assert set(made) == set(truth.drops)
    for day, drop in made.items():
        assert drop == pytest.approx(truth.drops[day], abs=0.02), day


def test_a_sensor_at_zero_or_at_its_end_gives_no_reading() -> None:
    data, _ = as_text(Logged(days=10, step=60, flushes=()))
    made = []
    for line in data.decode().splitlines():
        stamp = line.split(",")[0]
        if stamp.startswith("2026-05-03"):
            line = f"{stamp},0.000,0.000"
        elif stamp.startswith("2026-05-05"):
            line = f"{stamp},10.000,10.000"
        elif stamp.startswith("2026-05-06"):
            line = f"{stamp},ERR,ERR"
        made.append(line)
    seen = adopt("\n".join(made).encode())
    days = {row["date"] for row in seen.rows.readings}
    assert days.isdisjoint({dt.date(2026, 5, n) for n in (3, 5, 6)})
    assert len(days) == 7
    why = {one.why: one.rows for one in seen.rows.left_out}
    assert why["sensor at full scale"] == 1440
    assert why["no number"] == 1440


@pytest.mark.at_length  # test_layouts.py: dates and commas
def test_day_first_dates_and_decimal_commas_are_settled_by_the_file() -> None:
    data, truth = as_text(HOUR, comma=True, dmy=True)
    seen = adopt(data)
    assert [q.about for q in seen.asked] == ["station of logger.csv, row 1"]
    assert set(drops(seen)) == set(truth.drops)


def test_an_offset_in_the_stamps_is_asked_about_and_turned(tmp_path: Path) -> None:
    data, _ = as_text(Logged(days=6, step=60, flushes=()))
    lines = data.decode().splitlines()
    stamped = [lines[0], *(line.replace(",", "+00:00,", 1) for line in lines[1:])]
    source = tmp_path / "logger.csv"
    source.write_text("\n".join(stamped), encoding="utf-8")
    assert "carries an offset. Write 'as written'" in siltbook("adopt", source)
    mapping = tmp_path / "logger.mapping.xlsx"
    change(mapping, "Questions", f"E{find(mapping, 'Questions', 'T1 time zone')}", "Mars/Base")
    row = find(mapping, "Questions", "station of logger.csv, row 1")
    change(mapping, "Questions", f"E{row}", "North 1")
    said = siltbook("adopt", source, "--mapping", mapping, code=3)
    assert "accepted: 'as written', or a zone such as Europe/Lisbon." in said
    change(mapping, "Questions", f"E{find(mapping, 'Questions', 'T1 time zone')}", "Asia/Tokyo")
    said = siltbook("adopt", source, "--mapping", mapping)
    assert "6 readings, 0 rows of work, 1 stations" in said


@pytest.mark.at_length  # an offset in the stamps is turned above
def test_the_hour_that_spring_leaves_out_costs_nothing() -> None:
    """A clock that is set forward at 02:00, with and without offsets in the stamps."""
    data, truth = as_text(Logged(days=8, step=60, flushes=()))
    head, *lines = data.decode().splitlines()
    jump = "2026-05-04 02:00:00"
    later = [
        f"{dt.datetime.fromisoformat(line[:19]) + dt.timedelta(hours=1)}{line[19:]}"
        if line[:19] >= jump else line
        for line in lines
    ]  # fmt: skip
    stamped = [f"{s[:19]}{'+01:00' if s[:19] < jump else '+02:00'}{s[19:]}" for s in later]
    plain = adopt(data).rows
    for made in (later, stamped):
        seen = adopt("\n".join([head, *made]).encode())
        assert (seen.rows.read, seen.rows.used) == (plain.read, plain.used)
        assert [one.why for one in seen.rows.left_out] == [one.why for one in plain.left_out]
        assert drops(seen) == pytest.approx(truth.drops, abs=0.02)


@pytest.mark.at_length  # one a day is the other case of it
def test_as_many_readings_a_day_as_asked(tmp_path: Path) -> None:
    source = tmp_path / "logger.csv"
    source.write_bytes(as_text(Logged(days=6, step=60, flushes=()))[0])
    siltbook("adopt", source)
    mapping = tmp_path / "logger.mapping.xlsx"
    row = find(mapping, "Questions", "station of logger.csv, row 1")
    change(mapping, "Questions", f"E{row}", "North 1")
    row = find(mapping, "Questions", "T1 every: readings a day")
    change(mapping, "Questions", f"E{row}", 12)
    # The pump runs for six hours: three of the day's two-hour periods.
    assert "18 readings" in siltbook("adopt", source, "--mapping", mapping)


def test_the_scatter_of_the_records_goes_into_the_register(tmp_path: Path) -> None:
    seen = adopt(as_text(Logged(days=10, step=60, noise=0.01))[0])
    ((step, unit),) = seen.rows.precision.values()
    # Two readings of division d scatter by d/sqrt(6): here by sqrt(2) * 0.01 bar.
    assert unit == "bar"
    assert step == pytest.approx(np.sqrt(12) * 0.01, rel=0.4)
