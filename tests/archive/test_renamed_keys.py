"""The run table's keys of 0.1: still in JSON beside the new ones, and old archives still read."""

from __future__ import annotations

import csv
import io
import json
import shutil
from pathlib import Path

import openpyxl
import pytest

from siltbook import __version__
from siltbook.batch.archive.folder import Season
from siltbook.batch.job import assess_bytes
from siltbook.batch.report.book import DEPRECATED_RUN_KEYS, book_json
from tests.archive.conftest import PORTFOLIO
from tests.archive.test_season import siltbook

OLD = Path(__file__).parents[1] / "kept" / "v0_1" / "archive" / "east-2025"
RENAMED = {
    "start": "begins", "end": "ends", "rate_low": "slowest", "rate_high": "fastest",
    "valid": "believable", "inferred": "concluded", "recovered": "given_back",
}  # fmt: skip


def test_json_holds_the_deprecated_keys_beside_the_new_ones() -> None:
    book = PORTFOLIO / "east-2026.xlsx"
    made = book_json(assess_bytes(book.read_bytes(), book.name), book.name, None)
    runs = [run for station in made["stations"] for run in station["runs"]]
    assert {run["believable"] for run in runs} == {True, False}
    for run in runs:
        assert all(run[old] == run[now] for old, now in RENAMED.items())


def test_the_deprecated_keys_go_with_0_3() -> None:
    major, minor = map(int, __version__.split(".")[:2])
    assert (RENAMED if (major, minor) < (0, 3) else {}) == DEPRECATED_RUN_KEYS


def test_the_pages_list_the_keys_with_what_they_were() -> None:
    page = (Path(__file__).parents[2] / "docs" / "method.md").read_text(encoding="utf-8")
    rows = [line for line in page.splitlines() if line.startswith("| `")]
    for old, now in RENAMED.items():
        assert any(f"`{now}`" in row and f"`{old}`" in row for row in rows), old


def test_the_archives_table_has_the_new_names(east: Season) -> None:
    header = next(csv.reader(io.StringIO(east.files["data/runs.csv"].decode())))
    assert {*RENAMED.values()} <= {*header}
    assert not {*RENAMED} & {*header}


@pytest.mark.at_length  # test_verify.py compares one of another version
def test_an_archive_of_0_1_is_whole_and_compares(kept: Path, tmp_path: Path) -> None:
    said = siltbook("verify", OLD)
    assert said.exit_code == 0, said.output
    assert "whole and unchanged" in said.output
    shutil.copytree(OLD, tmp_path / "kept" / "east-2025")
    shutil.copytree(kept / "east-2026", tmp_path / "kept" / "east-2026")
    target = tmp_path / "east-2027.xlsx"
    said = siltbook("season", tmp_path / "kept", "--template", target)
    assert said.exit_code == 0, said.output
    assert "Seasons compared: 2025, 2026" in said.output
    sheet = openpyxl.load_workbook(target)["Seasons"]
    cells = [str(cell.value) for row in sheet.iter_rows() for cell in row]
    assert "Believable runs" in cells
    assert "2025" in cells


def test_the_old_tables_values_are_those_of_the_new_names() -> None:
    """The same season judged now: the same runs under the new names."""
    stored = list(csv.DictReader((OLD / "data" / "runs.csv").read_text("utf-8").splitlines()))
    book = OLD / "east-2025.xlsx"
    made = book_json(assess_bytes(book.read_bytes(), book.name), book.name, None)
    runs = {
        (station["station"], run["begins"], run["ends"]): run
        for station in made["stations"]
        for run in station["runs"]
    }
    assert len(stored) == len(runs) > 10
    for row in stored:
        run = runs[row["station"], row["start"], row["end"]]
        assert json.dumps(run["concluded"]) == row["inferred"]
        assert json.dumps(run["believable"]) == row["valid"]
        rate = run["rate_m_per_day"]
        assert ("" if rate is None else f"{rate:.10g}") == row["rate_m_per_day"]
