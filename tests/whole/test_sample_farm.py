"""The main job on the sample workbooks, through the command that people use."""

from __future__ import annotations

import json
import math
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import RESULT_SHEETS
from tests.amount import LONG
from tests.office import Shared, cells, needs_office
from tests.samples.load import FARMS as NAMES
from tests.samples.load import SAMPLES, assessed, load_make, resaved, reviewed


def verdicts(found: Assessment) -> dict[str, str]:
    return {r.station.name: str(r.verdict) for r in found.stations}


@pytest.mark.parametrize("name", NAMES)
def test_verdicts_are_those_that_the_model_leads_to(name: str) -> None:
    truth = load_make().truth(name)
    assert verdicts(assessed(name)) == {station: true.verdict for station, true in truth.items()}


def test_every_verdict_is_reached_from_a_filled_workbook() -> None:
    assert set(verdicts(assessed(NAMES[0])).values()) == {str(v) for v in Verdict}


def test_two_gauges_hide_no_torn_screen() -> None:
    """What two gauges add to a drop is the same at every visit: falls and lows still show."""
    make = load_make()
    seasons, gauges = make._seasons(NAMES[0])
    lists = make.rows.sheets(seasons, gauges, "bar")
    for row in lists["Stations"]:
        row["gauges"] = "two gauges"
    farm = make.rows.settings(make.twelve.FARM, "bar", "m3/h", make.twelve.REVIEW)
    found = verdicts(assess_bytes(build(BlankOptions(), lists, farm), "book"))
    assert found == {station: true.verdict for station, true in make.truth(NAMES[0]).items()}


@pytest.mark.at_length(keep="twelve")
@pytest.mark.parametrize("name", NAMES)
def test_two_runs_give_the_same_bytes_and_a_run_on_the_result_the_same_verdicts(name: str) -> None:
    once = reviewed(name).package
    assert review_bytes((SAMPLES / name).read_bytes(), name, name).package == once
    again = review_bytes(once, name, name)
    assert again.package == once
    assert verdicts(again.assessment) == verdicts(assessed(name))


def test_the_rows_add_up() -> None:
    counts = assessed(NAMES[1]).book.counts
    assert all(c.read == c.used + c.set_aside for c in counts.values())
    # The reading of a station that is not in the register is judged nowhere.
    assert (counts["Readings"].read, counts["Readings"].set_aside) == (51, 1)


def test_json_document(tmp_path: Path) -> None:
    runner = CliRunner()
    book = str(SAMPLES / NAMES[0])
    done = runner.invoke(main, ["run", book, "--out", str(tmp_path), "--json"])
    assert done.exit_code == 0
    (entry,) = json.loads(done.stdout)["books"]
    assert set(entry) >= {"path", "farm", "as_of", "stations", "findings", "output"}
    assert entry["as_of"] == "2026-08-30"
    keys = {"station", "verdict", "drop_m", "limit_m", "read_on", "reason", "also", "borderline"}
    assert all(keys <= set(station) for station in entry["stations"])
    finding = {"rule", "severity", "sheet", "cell", "message"}
    assert all(finding <= set(f) for f in entry["findings"])
    assert Path(entry["output"]).exists()


@pytest.mark.at_length(keep="many-flows")
@needs_office
@pytest.mark.parametrize("name", NAMES)
def test_libreoffice_recalculates_the_workings_to_the_cached_values(
    name: str, office: Shared
) -> None:
    """An independent program finds the same metres, drops and margins from the same cells."""
    book, again = reviewed(name).package, resaved(name, office)
    ours, theirs = (cells(data, "Workings", values=True) for data in (book, again))
    compared = 0
    for cell, formula in cells(book, "Workings", values=False).items():
        if not isinstance(formula, str) or not formula.startswith("="):
            continue
        kept, found = ours.get(cell), theirs.get(cell)
        compared += 1
        if isinstance(kept, str):
            assert found == kept, cell
        else:
            assert found is not None, cell
            assert math.isclose(found, kept, rel_tol=1e-9, abs_tol=1e-12), cell
    assert compared > 100


@pytest.mark.at_length(keep="many-flows")
@needs_office
@pytest.mark.parametrize("name", NAMES)
def test_a_book_resaved_by_libreoffice_keeps_its_verdicts_and_its_five_sheets(
    name: str, office: Shared
) -> None:
    """In the usual run what it has recalculated for the test above; others re-save what is kept."""
    saved = resaved(name, office, recalculate=not LONG)
    again = review_bytes(saved, name, name)
    assert verdicts(again.assessment) == verdicts(assessed(name))
    sheets = openpyxl.load_workbook(BytesIO(again.package), read_only=True).sheetnames
    assert [s for s in sheets if s in RESULT_SHEETS] == list(RESULT_SHEETS)
    assert not [s for s in sheets if "(Siltbook)" in s]
