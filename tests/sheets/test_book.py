"""The result sheets as a person finds them, read back from the file."""

from __future__ import annotations

import dataclasses
import datetime as dt
import io
import re
import warnings
import zipfile

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from siltbook.batch.fingerprint import fingerprint, typed_print
from siltbook.batch.model import Reading, Verdict
from siltbook.batch.results import Assessment
from siltbook.batch.sheets import findings, kit, trends, workings
from siltbook.batch.sheets.book import result_book
from siltbook.batch.tables.stations import ACTIONS
from siltbook.checks.findings import find
from siltbook.templates import contract, look, safety
from tests.sheets.example import BAR, NAMES, build, whole

HOSTILE = (
    "=cmd|' /C calc'!A0", "+1", "<r><t>x</t></r>", "a\x00b\x1bc", "@SUM(A1)", "_x0041_ & <b>",
)  # fmt: skip


def made(assessment: Assessment, names: dict[str, str] = NAMES, book: str = "demo.xlsx") -> bytes:
    return whole(result_book(assessment, names, book, "0.1.0"))


def opened(data: bytes, values: bool = False) -> openpyxl.Workbook:
    with warnings.catch_warnings():
        # openpyxl does not know the solid data bar's extension and says so.
        warnings.filterwarnings("ignore", message=".* extension is not supported")
        return openpyxl.load_workbook(io.BytesIO(data), data_only=values)


def texts(sheet: Worksheet) -> list[str]:
    return [str(c.value) for row in sheet.iter_rows() for c in row if c.value is not None]


def part(data: bytes, name: str) -> str:
    return zipfile.ZipFile(io.BytesIO(data)).read(name).decode()


@pytest.fixture(scope="module")
def package() -> bytes:
    return made(build())


@pytest.fixture(scope="module")
def formulas(package: bytes) -> openpyxl.Workbook:
    return opened(package)


@pytest.fixture(scope="module")
def values(package: bytes) -> openpyxl.Workbook:
    return opened(package, values=True)


def test_sheets_stand_in_order_under_their_final_names() -> None:
    names = NAMES | {"Actions": "Actions (Siltbook)"}
    book = opened(made(build(), names))
    assert tuple(book.sheetnames) == ("Actions (Siltbook)", *contract.RESULT_SHEETS[1:])


def test_every_sheet_is_marked_and_set_up_for_print(formulas: openpyxl.Workbook) -> None:
    for sheet in formulas:
        assert str(sheet["A1"].value).startswith(sheet.title)
        assert sheet["A2"].value == (
            "Written by Siltbook 0.1.0 · demo.xlsx · as of 2026-07-20 · inputs "
            f"{fingerprint(build().book)} · typed {typed_print(build().book)} · replaced at "
            "every run"
        )
        assert sheet.page_setup.orientation == "landscape"
        assert sheet.page_setup.paperSize == 9
        assert 80 <= (sheet.page_setup.scale or 100) <= 100  # of 10-point type: 8 pt or more
        parts = {"Station review": [14, 20, 28], "Runs": [12], "Workings": [13]}
        assert [b.id for b in sheet.col_breaks.brk] == parts.get(sheet.title, [])
        kept = {"Station review": "$A:$B", "Runs": "$A:$A", "Workings": "$A:$A"}
        assert sheet.print_title_cols == kept.get(sheet.title)
        assert re.match(r"\$?1:\$?\d+", sheet.print_title_rows)
        assert sheet.freeze_panes
        assert "demo.xlsx" in sheet.oddFooter.left.text
        assert "as of 2026-07-20" in sheet.oddFooter.center.text
        assert "page &P of &N" in sheet.oddFooter.right.text.replace("&[Page]", "&P")


def test_two_calls_give_the_same_bytes(package: bytes) -> None:
    assert made(build()) == package


def test_actions_lists_only_what_needs_something(formulas: openpyxl.Workbook) -> None:
    sheet = formulas["Actions"]
    shown = [c.value for c in sheet["A"][5:15]]
    assert shown == [look.VERDICTS[v].label for v in Verdict][:10]
    assert sheet["A16"].value == "✓ In range (1): Valley 2"
    assert sheet["A17"].value == "– Resting (1): Old well"
    said = sheet["A3"].value.replace("\xa0", " ")
    assert said.startswith("12 stations:   ▲ Escalate 1   ■ Hand clean 1")
    assert sheet["A4"].value == f"{safety.EMERGENCY} {safety.BELOW}"
    assert sheet["A6"].fill.fgColor.rgb == "FF" + look.VERDICTS["escalate"].fill[1:]
    assert (sheet["F6"].value, sheet["G6"].value, sheet["H6"].value) == (14, None, None)


def test_the_steps_are_the_judgements_own_also_where_it_is_borderline(
    formulas: openpyxl.Workbook,
) -> None:
    """A flush costs little: only opening a filter or calling for help waits for a reading."""
    assert build(verdicts=[Verdict.FLUSH]).stations[0].judgement.borderline
    orders = {r[0].value: r[3].value for r in formulas["Actions"].iter_rows(26)}
    assert orders[look.VERDICTS["flush"].label].split("   ") == [
        "1. Flush: 3 cycles with the downstream valve closed.",
        "2. Listen for the click; see water leave the flush outlet.",
        "3. Read the drop again.",
    ]


def test_a_calm_farm_says_so_and_gives_no_cautions() -> None:
    sheet = opened(made(build(verdicts=[Verdict.IN_RANGE])))["Actions"]
    assert "No station of the register needs anything, as far as the data tell." in texts(sheet)
    assert safety.BEFORE_OPENING not in texts(sheet)


def test_rows_are_high_enough_for_their_steps(formulas: openpyxl.Workbook) -> None:
    sheet = formulas["Actions"]
    for row in range(6, 16):
        count = kit.lines(str(sheet.cell(row, 5).value), ACTIONS.column("steps").width)
        assert sheet.row_dimensions[row].height >= count * 13


def test_the_review_has_every_station(values: openpyxl.Workbook) -> None:
    sheet = values["Station review"]
    row = [c.value for c in sheet[4]]
    assert row[:4] == ["▲ Escalate", "North 1", "Block 1", "disc"]
    assert row[4] == pytest.approx(0.8 * BAR)
    assert row[6] == pytest.approx(0.8 * BAR / 5)
    assert row[8] == dt.datetime(2026, 7, 3)
    assert sheet["N9"].value == "borderline"
    assert sheet["B15"].value == "Old well"
    assert "dataBar" in str([r.type for r in sheet.conditional_formatting for r in r.rules])


def test_workings_lead_to_the_filled_cells(
    formulas: openpyxl.Workbook, values: openpyxl.Workbook
) -> None:
    live, read = formulas["Workings"], values["Workings"]
    assert [live[f"{c}5"].value for c in "DEHIJKLM"] == [
        "='Readings'!D2", "='Readings'!E2", "=D5*G5", "=E5*G5", "=H5-I5",
        "='Stations'!G2", "=K5-J5", '=IF(J5>K5+0.000001,"OVER","in range")',
    ]  # fmt: skip
    assert live["K10"].value == "=IF(ISNUMBER('Farm'!B5),'Farm'!B5,5.0)"
    for row in range(5, read.max_row + 1):
        a, b, factor, drop = (read[f"{c}{row}"].value for c in "DEGJ")
        assert drop == pytest.approx((a - b) * factor, rel=1e-9)
        limit, margin, over = (read[f"{c}{row}"].value for c in "KLM")
        assert margin == pytest.approx(limit - drop, rel=1e-9)
        assert over == ("OVER" if drop > limit + 1e-6 else "in range")
    assert live.dimensions == f"A1:Z{read.max_row}"
    assert (read["B5"].value, read["C5"].value) == (dt.datetime(2026, 5, 4), dt.time(7, 30))


def test_a_sheet_name_is_quoted_in_formulas_and_links() -> None:
    found = [find("cell-missing", sheet="Bob's <SORT(1)>", cell="D5", read="empty", accepted="x")]
    book = opened(made(build(readings_sheet="Bob's <SORT(1)>", found=found)))
    assert book["Workings"]["D5"].value == "='Bob''s <SORT(1)>'!D2"
    assert book["Findings"]["D6"].hyperlink.location == "'Bob''s <SORT(1)>'!D5"


def one_reading(raw: object, reading: Reading) -> Worksheet:
    base = build(verdicts=[Verdict.FLUSH])
    result = base.stations[0]
    base.book.readings.raw["inlet"][2] = raw
    history = dataclasses.replace(result.history, entries=(reading,))
    changed = dataclasses.replace(base, stations=(dataclasses.replace(result, history=history),))
    return opened(made(changed))["Workings"]


def plain(**changes: object) -> Reading:
    base = Reading(2, dt.date(2026, 5, 4), None, 2.4 * BAR, 2.9 * BAR, None, None, None, "routine")
    return dataclasses.replace(base, **changes)  # type: ignore[arg-type]


def test_text_in_a_pressure_cell_becomes_a_constant_with_a_note() -> None:
    sheet = one_reading("2.4 bar", plain())
    assert sheet["D5"].value == pytest.approx(2.4)
    assert sheet["S5"].value == 'inlet: not linked; the cell reads "2.4 bar"'


def test_a_number_that_was_read_otherwise_becomes_a_constant_with_a_note() -> None:
    sheet = one_reading(240.0, plain())
    assert sheet["D5"].value == pytest.approx(2.4)
    assert sheet["S5"].value == "inlet: not linked; the cell reads 240"


def test_missing_pressures_leave_blanks_and_nan_is_never_written() -> None:
    nan = float("nan")
    odd = plain(inlet=nan, drop=nan, u_drop=nan, p_over=nan, why_unusable="inlet is missing")
    sheet = one_reading("", odd)
    assert [sheet[f"{c}5"].value for c in "DHJLMNO"] == [None] * 7
    assert (sheet["P5"].value, sheet["Q5"].value) == ("no", "inlet is missing")


def test_hostile_names_stay_text_everywhere() -> None:
    rename = dict(zip(Verdict, HOSTILE, strict=False))
    data = made(build(rename=rename, farm="=1+1"), book="=a&G&[Picture].xlsx")
    book = opened(data)
    for name, sheet, column, first in (
        ("Actions", book["Actions"], "B", 6), ("Review", book["Station review"], "B", 4),
    ):  # fmt: skip
        for row, hostile in enumerate(HOSTILE, first):
            cell = sheet[f"{column}{row}"]
            assert cell.data_type == "s", name
            # openpyxl decodes the escape of '_x0041_' in shared strings only.
            shown = str(cell.value).replace("_x005F_", "_")
            assert shown.strip() == kit.one_line(hostile).strip()
    assert {"=cmd|' /C calc'!A0", "+1", "abc"} <= {c.value for c in book["Workings"]["A"]}
    for name in ("Station review", "Workings"):
        place = contract.RESULT_SHEETS.index(name) + 1
        assert ">_x005F_x0041_ &amp; &lt;b&gt;</t>" in part(data, f"xl/worksheets/sheet{place}.xml")
    assert all(c.data_type in "sn" for c in book["Workings"]["A"])


def test_a_chart_title_never_becomes_a_formula() -> None:
    data = made(build(rename={Verdict.ESCALATE: "a!B2"}))
    assert "▲ a! B2 — Escalate" in part(data, "xl/charts/chart1.xml")


def test_charts_say_in_words_what_they_show(package: bytes) -> None:
    drawing = part(package, "xl/drawings/drawing1.xml")
    assert drawing.count("<xdr:graphicFrame") == 12
    assert (
        "Pressure drop over time at station North 1: latest drop 8.16 m on 2026-07-03;"
        " limit 5.00 m; verdict: Escalate." in drawing
    )
    assert "station Old well: no usable reading; limit 5.00 m; verdict: Resting." in drawing
    chart = part(package, "xl/charts/chart1.xml")
    assert "'Trends'!" in chart or "Trends!" in chart
    assert all(name in chart for name in ("Limit", "Clean drop", "Flush", "Hand cleaning"))


@pytest.mark.parametrize(
    ("work", "verdict", "symbol", "shape"),
    [("Flush", "flush", "●", "circle"), ("Hand cleaning", "hand-clean", "■", "square")],
)
def test_work_is_marked_with_the_shape_of_its_verdict(
    package: bytes, work: str, verdict: str, symbol: str, shape: str
) -> None:
    """And no other work has that shape."""
    series = re.findall(r"<c:ser>.*?</c:ser>", part(package, "xl/charts/chart1.xml"), re.DOTALL)
    found = {
        re.findall(r"<c:v>([^<]*)</c:v>", one)[0]: re.findall(r'<c:symbol val="(\w+)"', one)[0]
        for one in series
    }
    marks = {name: mark for name, mark in found.items() if name != "Drop"}
    assert look.VERDICTS[verdict].symbol == symbol
    assert marks[work] == shape
    assert list(marks.values()).count(shape) == 1


def test_a_chart_leaves_no_setting_to_be_guessed(package: bytes) -> None:
    chart = part(package, "xl/charts/chart1.xml")
    assert chart.count('<c:dispBlanksAs val="gap"/>') == 1
    assert chart.count('<c:delete val="0"/>') == 2
    assert chart.count('<c:overlay val="0"/>') == 3
    assert chart.count('<c:smooth val="0"/>') == chart.count("<c:ser>") == 6
    assert chart.count('<c:autoTitleDeleted val="0"/>') == 1
    assert chart.count('<c:varyColors val="0"/>') == 1


def test_unusable_readings_and_long_gaps_break_the_line() -> None:
    assessment = build(verdicts=[Verdict.FLUSH])
    result = assessment.stations[0]
    pen = kit.Kit(None, assessment, "demo.xlsx", "0")
    days = (1, 5, 9, 40)
    drops = [plain(date=dt.date(2026, 5, 1) + dt.timedelta(days=d), drop=float(d)) for d in days]
    drops[1] = dataclasses.replace(drops[1], why_unusable="outlet above inlet")
    history = dataclasses.replace(result.history, entries=tuple(drops))
    points = trends._drops(pen, dataclasses.replace(result, history=history), 21.0)
    assert [level for _, level in points] == [1.0, None, 9.0, None, 40.0]


def test_no_more_than_200_charts_and_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    assert trends.MOST == 200
    monkeypatch.setattr(trends, "MOST", 20)  # as many are seldom asked for, and take long
    stations = build(verdicts=[Verdict.WATCH]).stations * 21
    many = dataclasses.replace(build(verdicts=[Verdict.WATCH]), stations=stations)
    data = made(many)
    assert part(data, "xl/drawings/drawing1.xml").count("<xdr:graphicFrame") == trends.MOST
    assert "The first 20 of 21 stations have a chart." in opened(data)["Trends"]["A3"].value


def test_findings_come_errors_first_and_link_to_their_cells(formulas: openpyxl.Workbook) -> None:
    sheet = formulas["Findings"]
    assert sheet["A3"].value == (
        "Readings: 1,234 rows read, 1,230 used, 4 set aside   ·   "
        "Work done: 33 rows read, 33 used, 0 set aside"
    )
    assert sheet["A4"].value == "2 errors, 1 doubt, 1 note."
    assert [sheet[f"A{n}"].value for n in range(6, 10)] == [
        "✕ Error", "✕ Error", "? Doubt", "· Note",
    ]  # fmt: skip
    assert sheet["D6"].hyperlink.location == "'Readings'!D7"
    assert sheet["D8"].hyperlink.location == "'Work done'!G4"


def test_nothing_found_is_said() -> None:
    sheet = opened(made(build(found=[])))["Findings"]
    assert "Nothing was found: every row could be used as it stands." in texts(sheet)


def test_at_most_5000_findings_are_listed(monkeypatch: pytest.MonkeyPatch) -> None:
    assert findings.MOST == 5_000
    monkeypatch.setattr(findings, "MOST", 500)
    one = find("cell-missing", sheet="Readings", cell="D5", read="empty", accepted="a number")
    sheet = opened(made(build(found=[one] * (findings.MOST + 7))))["Findings"]
    assert "7 more findings are not listed here; mend these first and run again." in texts(sheet)
    assert sum(c.value == "✕ Error" for c in sheet["A"]) == findings.MOST


def test_an_empty_book_still_gives_its_sheets() -> None:
    empty = dataclasses.replace(build(), as_of=None, stations=(), findings=())
    book = opened(made(empty))
    assert book["Workings"]["A5"].value == "No reading in this book."
    assert "as of no date (no dated entry)" in book["Actions"]["A2"].value
    assert workings.HEADER == 3


def test_text_is_cleaned_and_cut() -> None:
    assert kit.clean("a\x00\x1b\ud800b") == "ab"
    assert len(kit.clean("x" * 40_000)) == 32_000
    assert kit.one_line("a\n\tb") == "a b"


def test_a_book_that_counts_from_1904_gets_its_dates_so() -> None:
    usual = build()
    old = dataclasses.replace(usual, book=dataclasses.replace(usual.book, date1904=True))
    for sheet, cell in (("Workings", "B6"), ("Station review", "I4")):
        now, then = (opened(made(a))[sheet][cell].value for a in (usual, old))
        assert (now - then).days == 1462, sheet
    x_axes = [
        re.findall(r'<c:min val="(\d+)', part(made(a), "xl/charts/chart1.xml"))[0]
        for a in (usual, old)
    ]
    assert int(x_axes[0]) - int(x_axes[1]) == 1462
