"""What 'check' says of findings that come again and again: short, and nothing dropped unsaid."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path

from click.testing import CliRunner, Result

from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from tests.whole.test_refused import farm

DAY = dt.date(2026, 5, 1)


def on(number: int) -> dt.date:
    return DAY + dt.timedelta(days=number)


def visit(number: int, drop: float, occasion: str = "routine") -> dict[str, object]:
    """A reading without a time; drop in bar."""
    return {"date": on(number), "inlet": 3.0, "outlet": 3.0 - drop, "occasion": occasion}


def fouling_fast(times: int) -> bytes:
    """Over on every sixth day, flushed and in range again the same day, never with a time."""
    visits = [
        found
        for n in range(times)
        for found in (visit(6 * n, 0.7), visit(6 * n, 0.1, "after flush"))
    ]
    flushes: list[dict[str, object]] = [
        {"date": on(6 * n), "work": "flush", "cycles": 3, "click": "yes", "water": "yes"}
        for n in range(times)
    ]
    return farm(readings=visits, work=flushes)


def check(path: Path, *options: str) -> Result:
    return CliRunner().invoke(main, ["check", str(path), *options])


def said(folder: Path, times: int) -> list[str]:
    """The lines of `check`, without the path."""
    path = folder / "farm.xlsx"
    path.write_bytes(fouling_fast(times))
    lines = check(path).output.splitlines()
    return [line.removeprefix(f"{path}: ") for line in lines if not line.startswith("! ")]


def test_days_without_times_are_one_line_per_station(tmp_path: Path) -> None:
    lines = said(tmp_path, 7)
    assert lines == [
        "doubt [several-without-time] F1: several entries on a day without times, 7 times: "
        "Readings!C2 (2026-05-01), C4 (2026-05-07), C6 (2026-05-13), C8 (2026-05-19) and 3 more "
        "(on the sheet Findings of a run, and in --json). "
        "Add the times; until then the usual order is assumed.",
        "doubt [episodes-recur] F1: third time over the limit in 30 days, 5 times: Readings!D6 "
        "(2026-05-13), D8 (2026-05-19), D10 (2026-05-25), D12 (2026-05-31) and D14 (2026-06-06). "
        "Look at the water source and the flush interval.",
        "12 doubts",
    ]


def test_a_few_are_named_one_by_one_and_one_keeps_its_own_words(tmp_path: Path) -> None:
    several, recurs, count = said(tmp_path, 3)
    assert "3 times: Readings!C2 (2026-05-01), C4 (2026-05-07) and C6 (2026-05-13). Add" in several
    assert recurs == (
        "doubt [episodes-recur] Readings!D6: third time over the limit in 30 days: read F1 went "
        "over on 2026-05-01, 2026-05-07 and 2026-05-13, each time at most 7 days after it had come "
        "back in range; accepted: a filter that stays in range for more than 7 days once it is "
        "clean, or goes over at most twice in 30 days. Look at the water source and the flush "
        "interval."
    )
    assert count == "4 doubts"


def test_json_and_the_findings_sheet_keep_every_one(tmp_path: Path) -> None:
    path = tmp_path / "farm.xlsx"
    path.write_bytes(fouling_fast(7))
    (book,) = json.loads(check(path, "--json").output)["books"]
    cells = [f["cell"] for f in book["findings"] if f["rule"] == "several-without-time"]
    assert cells == ["C2", "C4", "C6", "C8", "C10", "C12", "C14"]
    assert set(book["findings"][0]) == {"rule", "severity", "sheet", "cell", "message"}


def test_the_cell_is_that_of_the_reading_that_was_over() -> None:
    """Not that of another reading of the same day."""
    visits = [
        found
        for n in range(3)
        for found in (visit(6 * n, 0.2), visit(6 * n, 0.7), visit(6 * n + 1, 0.1))
    ]
    findings = assess_bytes(farm(readings=visits), "farm.xlsx").findings
    assert [f.cell for f in findings if f.rule == "episodes-recur"] == ["D9"]


def test_what_the_reader_left_unlisted_is_still_said(tmp_path: Path) -> None:
    visits = [visit(n, 0.1 + n % 3 / 10) | {"inlet": "3,0"} for n in range(150)]
    path = tmp_path / "farm.xlsx"
    path.write_bytes(farm(readings=visits))
    (line,) = [said for said in check(path).output.splitlines() if "cell-text-number" in said]
    assert "note [cell-text-number] F1: number stored as text, 100 times: Readings!D2, D3" in line
    assert line.endswith(
        "and 96 more (on the sheet Findings of a run, and in --json); further "
        "ones in this column are not listed. Nothing to do: it was read without doubt."
    )


def test_other_kinds_and_other_stations_stay_apart(tmp_path: Path) -> None:
    from siltbook.batch.report.findings import finding_lines
    from siltbook.checks.findings import find

    def one(rule: str, station: str, cell: str, sheet: str = "Readings") -> object:
        return find(rule, sheet=sheet, cell=cell, read="x", accepted="y", station=station)

    rule, other = "several-without-time", "outlet-over-inlet"
    lines = finding_lines([
        one(rule, "A", "C2"), one(other, "A", "E3"), one(rule, "B", "C4"), one(other, "A", "E5"),
        one(rule, "A", "C6", "Work done"), one(rule, "A", "C7", "Work done"),
    ])  # type: ignore[list-item]  # fmt: skip
    assert [line.split(": ")[0] for line in lines] == [
        f"doubt [{rule}] A", f"error [{other}] Readings!E3", f"doubt [{rule}] Readings!C4",
        f"error [{other}] Readings!E5",
    ]  # fmt: skip
    assert "3 times: Readings!C2, Work done!C6 and C7. " in lines[0]
