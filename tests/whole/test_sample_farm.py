"""The main job on the sample workbooks, through the command that people use."""

from __future__ import annotations

import json
import math
import warnings
from io import BytesIO
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes, review_bytes
from siltbook.batch.model import Verdict
from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import RESULT_SHEETS
from tests.office import convert, convert_all, needs_office
from tests.samples.load import SAMPLES, load_make

NAMES = ("twelve-stations.xlsx", "real-life-psi.xlsx", "mixed-units.xlsx", "many-flows.xlsx")


def opened(book: bytes, data_only: bool = False) -> openpyxl.Workbook:
    """The book as openpyxl sees it; it says that it drops extensions, which a reader may."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        return openpyxl.load_workbook(BytesIO(book), data_only=data_only)


def verdicts(data: bytes) -> dict[str, str]:
    return {r.station.name: str(r.verdict) for r in assess_bytes(data, "book").stations}


@pytest.mark.parametrize("name", NAMES)
def test_verdicts_are_those_that_the_model_leads_to(name: str) -> None:
    truth = load_make().truth(name)
    found = verdicts((SAMPLES / name).read_bytes())
    assert found == {station: true.verdict for station, true in truth.items()}


def test_every_verdict_is_reached_from_a_filled_workbook() -> None:
    assert set(verdicts((SAMPLES / NAMES[0]).read_bytes()).values()) == {str(v) for v in Verdict}


def test_two_gauges_hide_no_torn_screen() -> None:
    """What two gauges add to a drop is the same at every visit: falls and lows still show."""
    make = load_make()
    seasons, gauges = make._seasons(NAMES[0])
    lists = make.rows.sheets(seasons, gauges, "bar")
    for row in lists["Stations"]:
        row["gauges"] = "two gauges"
    farm = make.rows.settings(make.twelve.FARM, "bar", "m3/h", make.twelve.REVIEW)
    found = verdicts(build(BlankOptions(), lists, farm))
    assert found == {station: true.verdict for station, true in make.truth(NAMES[0]).items()}


@pytest.mark.parametrize("name", NAMES)
def test_two_runs_give_the_same_bytes_and_a_run_on_the_result_the_same_verdicts(name: str) -> None:
    data = (SAMPLES / name).read_bytes()
    once, twice = (review_bytes(data, name, name).package for _ in range(2))
    assert once == twice
    again = review_bytes(once, name, name)
    assert again.package == once
    assert verdicts(once) == verdicts(data)


def test_the_rows_add_up() -> None:
    counts = assess_bytes((SAMPLES / NAMES[1]).read_bytes(), "book").book.counts
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


@pytest.fixture(scope="module")
def recalculated(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, Path]]:
    """The reviewed samples, and the same with every formula calculated anew by LibreOffice."""
    folder = tmp_path_factory.mktemp("recalculated")
    books = [folder / name for name in NAMES]
    for book in books:
        data = (SAMPLES / book.name).read_bytes()
        book.write_bytes(review_bytes(data, book.name, book.name).package)
    again = convert_all(books, folder, recalculate=True)
    return dict(zip(NAMES, zip(books, again, strict=True), strict=True))


@needs_office
@pytest.mark.parametrize("name", NAMES)
def test_libreoffice_recalculates_the_workings_to_the_cached_values(
    name: str, recalculated: dict[str, tuple[Path, Path]]
) -> None:
    """An independent program finds the same metres, drops and margins from the same cells."""
    book, again = recalculated[name]
    ours = opened(book.read_bytes(), data_only=True)["Workings"]
    formulas = opened(book.read_bytes())["Workings"]
    theirs = opened(again.read_bytes(), data_only=True)["Workings"]
    compared = 0
    for row in formulas.iter_rows():
        for cell in row:
            if not isinstance(cell.value, str) or not cell.value.startswith("="):
                continue
            kept = ours[cell.coordinate].value
            found = theirs[cell.coordinate].value
            compared += 1
            if isinstance(kept, str):
                assert found == kept, cell.coordinate
            else:
                assert math.isclose(found, kept, rel_tol=1e-9, abs_tol=1e-12), cell.coordinate
    assert compared > 100


@needs_office
@pytest.mark.parametrize("name", NAMES)
def test_a_book_resaved_by_libreoffice_keeps_its_verdicts_and_its_five_sheets(
    name: str, tmp_path: Path
) -> None:
    data = (SAMPLES / name).read_bytes()
    book = tmp_path / name
    book.write_bytes(review_bytes(data, name, name).package)
    resaved = convert(book, tmp_path).read_bytes()
    assert verdicts(resaved) == verdicts(data)
    sheets = opened(review_bytes(resaved, name, name).package).sheetnames
    assert [s for s in sheets if s in RESULT_SHEETS] == list(RESULT_SHEETS)
    assert not [s for s in sheets if "(Siltbook)" in s]
