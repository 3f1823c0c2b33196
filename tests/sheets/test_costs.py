"""The Costs sheet as a person finds it: sums that hold, reasons in words, a chart that fits."""

from __future__ import annotations

import dataclasses
import io
import re
import zipfile

import pytest
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.assess import assess, with_bill
from siltbook.batch.model import Verdict
from siltbook.batch.numbers.bill import farm_bill
from siltbook.batch.numbers.tradeoff import TradeOff
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import tradeoff
from siltbook.batch.sheets.costs import EITHER
from siltbook.templates.book import Settings
from siltbook.templates.shown import IN_METRES
from tests.amount import whole
from tests.office import Shared, cells, needs_office
from tests.samples.load import USUAL, assessed, resaved, reviewed
from tests.sheets.example import build
from tests.sheets.test_book import HOSTILE, made, opened, texts

BOOK = "twelve-stations.xlsx"


def sample() -> Assessment:
    return assessed(BOOK)


def priced(**changes: object) -> Assessment:
    """The sample with other settings."""
    base = sample()
    settings = dataclasses.replace(base.book.settings, **changes)  # type: ignore[arg-type]
    book = dataclasses.replace(base.book, settings=settings)
    return with_bill(assess(book, as_of=base.as_of))


def sheet_of(assessment: Assessment, values: bool = True) -> Worksheet:
    return opened(made(assessment), values=values)["Costs"]


def row_of(sheet: Worksheet, text: str, after: int = 0) -> int:
    """The first row after `after` whose cell A reads `text`."""
    for row in range(after + 1, sheet.max_row + 1):
        if sheet.cell(row, 1).value == text:
            return row
    raise AssertionError(f"{text!r} is not in column A of {sheet.title}")


def number(sheet: Worksheet, cell: str) -> float:
    value = sheet[cell].value
    assert isinstance(value, int | float), cell
    return float(value)


def test_the_summary_says_what_dirt_took() -> None:
    sheet, bill = sheet_of(sample()), sample().bill
    assert bill is not None
    assert bill.energy_kwh is not None
    assert number(sheet, "D4") == pytest.approx(bill.energy_kwh)
    assert number(sheet, "D6") == pytest.approx(bill.energy_kwh * 0.2)
    assert (sheet["D7"].value, sheet["D8"].value, sheet["D9"].value) == (13, 18, 13 * 18)
    assert number(sheet, "D10") == pytest.approx(bill.flush_water)
    assert sheet["G4"].value == "12 of 12 stations, 1,995 station days counted"
    said = texts(sheet)
    assert EITHER in said
    assert "Not known: discharge of S09 Far End, S10 Bridge – no emitter exponent." in said
    assert "Not known: flushing water of S11 Meadow – no flush flow." in said


def test_prices_lead_to_the_farm_sheet() -> None:
    sheet = sheet_of(sample(), values=False)
    cells = sample().book.setting_cells
    price = f"'Farm'!{cells['price']}"
    assert sheet["D5"].value == f"=IF(ISNUMBER({price}),{price},0.2)"
    assert "'Farm'!" + cells["labour_price"] in sheet["D8"].value
    assert sheet["D6"].value == "=D4*$D$5"


def test_sums_stand_over_the_rows_that_they_add() -> None:
    live, read = sheet_of(sample(), values=False), sheet_of(sample())
    first = row_of(read, "Stations, the costliest first") + 2
    last = row_of(read, "Farm", first)
    assert live[f"E{last}"].value == f"=SUM(E{first}:E{last - 1})"
    assert last - first == 12
    for col in "BCEFJK":
        parts = [read[f"{col}{n}"].value or 0.0 for n in range(first, last)]
        assert number(read, f"{col}{last}") == pytest.approx(sum(parts)), col
    energy = [number(read, f"E{n}") for n in range(first, last)]
    assert energy == sorted(energy, reverse=True)
    assert number(read, f"E{last}") == pytest.approx(number(read, "D4"))


def test_months_add_up_both_ways_in_energy_and_money() -> None:
    sheet = sheet_of(sample())
    for title, total in (("Energy by month (kWh)", "D4"), ("Energy by month, money (units)", "D6")):
        head = row_of(sheet, title) + 1
        last = row_of(sheet, "Farm", head)
        heads = [c.value for c in sheet[head] if c.value]
        assert heads == ["Station", *(f"2026-0{n}" for n in range(3, 9)), "Total"]
        for row in range(head + 1, last + 1):
            across = sum(sheet.cell(row, col).value or 0.0 for col in range(2, 8))
            assert sheet.cell(row, 8).value == pytest.approx(across)
        assert number(sheet, f"H{last}") == pytest.approx(number(sheet, total))


def test_the_trade_off_stands_under_its_chart_with_what_it_rests_on() -> None:
    sheet = sheet_of(sample())
    head = row_of(sheet, "Cleaned by hand at (bar)")
    metres = (2, 3, 4, 5, 6, 7, "As it was")
    shown = {metres[n]: head + 1 + n for n in range(7)}
    in_bar = [sheet.cell(row, 1).value for row in shown.values()]
    assert in_bar[:-1] == pytest.approx([drop * 0.0980665 for drop in range(2, 8)])
    assert in_bar[-1] == "As it was"
    assert sheet.cell(shown[2], 9).value == "not over the clean drop of S07 Orchard"
    for drop in (3, 4, 5, 6, 7, "As it was"):
        energy, labour, total = (number(sheet, f"{c}{shown[drop]}") for c in "EFG")
        assert total == pytest.approx(energy + labour)
        assert labour == pytest.approx(number(sheet, f"B{shown[drop]}") * 18)
        assert energy == pytest.approx(number(sheet, f"D{shown[drop]}") * 0.2)
    said = texts(sheet)
    least = min((number(sheet, f"G{shown[d]}"), d) for d in (3, 4, 5, 6, 7))[1]
    best = f"Energy and labour together are least at {least * 0.0980665:.2f} bar"
    assert any(t.startswith(best) for t in said)
    assert any(re.match(r"Rests on \d+ runs of 11 stations over [\d,]+ station d", t) for t in said)
    assert any(t.startswith("Left out: S12 Nursery: its runs reach 0.21 bar at most") for t in said)
    assert any(t.startswith("Take with care: at 0.59 and 0.69 bar over a quarter of") for t in said)


def test_the_chart_draws_the_table_and_says_so_in_words() -> None:
    data = made(sample())
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        charts = [package.read(n).decode() for n in package.namelist() if "charts/chart" in n]
        drawings = [package.read(n).decode() for n in package.namelist() if "drawings/dr" in n]
    chart = next(c for c in charts if "Energy against labour" in c)
    head = row_of(sheet_of(sample()), "Cleaned by hand at (bar)")
    for col in "EFG":
        assert f"Costs!${col}${head + 1}:${col}${head + 6}" in chart
    assert any("Energy, labour and their total against the drop" in d for d in drawings)


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"labour_price": None}, "Not worked out: not on the Farm sheet: labour price."),
        ({"price": None}, "Not worked out: not on the Farm sheet: energy price."),
        (
            {"cleaning_hours": None, "efficiency": None},
            "Not worked out: not on the Farm sheet: pump efficiency, hours per hand cleaning.",
        ),
    ],
)
def test_without_settings_the_trade_off_is_silent_and_says_why(
    changes: dict[str, object], said: str
) -> None:
    sheet = sheet_of(priced(**changes))
    assert said in texts(sheet)
    assert "Cleaned by hand at (bar)" not in texts(sheet)


def test_without_a_price_there_is_no_money_on_the_sheet() -> None:
    sheet = sheet_of(priced(price=None))
    assert (sheet["D5"].value, sheet["D6"].value) == (None, None)
    assert sheet["G5"].value == "not known: not filled in on the Farm sheet"
    assert sheet["G6"].value == "not known: energy or price is not"
    first = row_of(sheet, "Stations, the costliest first") + 2
    assert {sheet[f"F{n}"].value for n in range(first, first + 13)} == {None}
    assert "No energy price on the Farm sheet: no money." in texts(sheet)
    why = "no energy price on the Farm sheet"
    assert f"Not known: money of all stations – {why}." in texts(sheet)


def test_without_pump_data_no_energy_is_guessed() -> None:
    sheet = sheet_of(priced(hours=None))
    assert sheet["D4"].value is None
    why = "no irrigation hours per day on the Farm sheet"
    assert f"Not known: energy of all stations – {why}." in texts(sheet)
    assert "No station's energy is known." in texts(sheet)
    first = row_of(sheet, "Stations, the costliest first") + 2
    assert number(sheet, f"D{first}") > 0  # the head that was lost is known all the same


def test_more_than_a_page_of_months_is_taken_together() -> None:
    base = sample()
    bill = base.bill
    assert bill is not None
    one = next(s for s in bill.stations if s.station == "S02 Pond")
    cost = one.months[0][1]
    names = [f"{y}-{m:02}" for y in (2024, 2025) for m in range(1, 13)]
    long = dataclasses.replace(one, months=tuple((name, cost) for name in names))
    many = dataclasses.replace(base, bill=dataclasses.replace(bill, stations=(long,)))
    sheet = sheet_of(many)
    head = row_of(sheet, "Energy by month (kWh)") + 1
    heads = [c.value for c in sheet[head] if c.value]
    assert heads == ["Station", "to 2025-01", *names[13:], "Total"]
    assert sheet.cell(head + 1, 2).value == pytest.approx(13 * (cost.energy_kwh or 0.0))
    assert sheet.cell(head + 1, 14).value == pytest.approx(24 * (cost.energy_kwh or 0.0))


def test_hostile_names_and_currencies_stay_text() -> None:
    base = build(rename=dict(zip(Verdict, HOSTILE, strict=False)))
    settings = Settings(hours=6.0, efficiency=0.65, price=0.2, currency="=1+1")
    book = dataclasses.replace(base.book, settings=settings)
    bill = farm_bill([(r.history, r.outlook) for r in base.stations], settings)
    sheet = sheet_of(dataclasses.replace(base, book=book, bill=bill), values=False)
    cells = [c for row in sheet.iter_rows() for c in row if c.data_type == "f"]
    assert cells
    assert all(re.match(r"=(SUM\(|[A-Z$]+\d|\$?[A-Z]+\$?\d+|\d+\.)", str(c.value)) for c in cells)
    assert "=1+1" in texts(sheet)
    assert sheet["E6"].data_type == "s"


def test_the_same_water_on_four_gauges_costs_the_same() -> None:
    """Bar, kPa, psi and kgf/cm2: as near as divisions of up to 0.14 m allow.

    Each has an inlet of its own; the same head is a larger share of a lower field pressure.
    """
    name = "mixed-units.xlsx"
    bill = assessed(name).bill
    assert bill is not None
    assert len(bill.stations) == 4
    for pick in (
        lambda s: s.cost.energy_kwh, lambda s: s.cost.mean_excess_m,
        lambda s: s.discharge.mean * s.discharge.pressure,
    ):  # fmt: skip
        values = [pick(station) for station in bill.stations]
        assert values == pytest.approx([values[0]] * 4, rel=0.02)
    assert len({s.flush.volume for s in bill.stations}) == 1


def test_a_drop_reached_between_two_readings_is_marked() -> None:
    """At an interval of 45 days nobody would see 3 m in time."""
    sheet = sheet_of(priced(interval=45.0))
    head = row_of(sheet, "Cleaned by hand at (bar)")
    late = "sooner than the reading interval of 45 days: nobody would see it in time"
    assert [sheet.cell(head + n, 9).value for n in (2, 3)] == [late, None]


def test_stations_left_out_for_one_reason_share_a_line() -> None:
    left = (*((f"N{n}", "no believable run") for n in range(8)), ("P", "its clean drop is unknown"))
    weighed = TradeOff((), None, (), 0, 0.0, left, "no station can be replayed")
    assert tradeoff.said(weighed, IN_METRES) == [
        "Not worked out: no station can be replayed.",
        "Left out: N0, N1, N2, N3, N4, N5 and 2 more: no believable run.",
        "Left out: P: its clean drop is unknown.",
    ]
    many = tuple((f"N{n}", f"reason {n}") for n in range(8))
    last = tradeoff.said(dataclasses.replace(weighed, left_out=many), IN_METRES)[-1]
    assert last == "Left out for other reasons: 2 stations."


def test_a_book_without_stations_says_so() -> None:
    empty = dataclasses.replace(build(), stations=(), bill=farm_bill((), Settings()))
    assert "No station in this book." in texts(sheet_of(empty))


@pytest.mark.at_length  # interop/test_programs.py, and the blank's formulas
@needs_office
def test_another_program_calculates_the_same(office: Shared) -> None:
    name = BOOK if whole() else USUAL
    book, again = reviewed(name).package, resaved(name, office)
    ours, theirs = (cells(data, "Costs", values=True) for data in (book, again))
    checked = 0
    for cell, formula in cells(book, "Costs", values=False).items():
        if isinstance(formula, str) and formula.startswith("="):
            assert theirs[cell] == pytest.approx(ours[cell]), cell
            checked += 1
    assert checked > (100 if name == BOOK else 40)
