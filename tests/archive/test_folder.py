"""What an archive holds, and that it stands there whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pytest

from siltbook.batch.archive import folder
from siltbook.batch.archive.descriptor import descriptor
from siltbook.batch.archive.folder import Season, put, season
from siltbook.batch.archive.tables import ArchiveTable, Field, as_csv, tables
from siltbook.batch.errors import BookError
from tests.archive.conftest import PORTFOLIO, archived
from tests.samples.load import SAMPLES


def table(made: Season, name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(made.files[f"data/{name}.csv"].decode(), newline="")))


@pytest.mark.at_length  # test_an_untouched_archive_is_whole makes it again
def test_the_same_book_gives_the_same_bytes(east: Season) -> None:
    again = archived(PORTFOLIO / "east-2026.xlsx")
    assert again.files == east.files
    assert again.seal == east.seal


def test_what_lies_in_the_folder(kept: Path) -> None:
    folder = kept / "east-2026"
    found = sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())
    assert found == [
        "READ-ME-FIRST.txt",
        *(f"data/{n}.csv" for n in ("agreed", "carried-over", "drops", "farm", "findings", "gauges",
                                    "readings", "runs",
          "stations", "verdicts", "water-tests", "work-done")),
        "datapackage.json",
        "east-2026.reviewed.xlsx",
        "east-2026.xlsx",
        "manifest.json",
        "season-summary.pdf",
        "verdicts.json",
    ]  # fmt: skip
    assert (folder / "east-2026.xlsx").read_bytes() == (PORTFOLIO / "east-2026.xlsx").read_bytes()


def test_every_reading_is_the_workbooks_in_metres(east: Season) -> None:
    sheet = openpyxl.load_workbook(PORTFOLIO / "east-2026.xlsx", data_only=True)["Readings"]
    rows = table(east, "readings")
    assert len(rows) == east.assessment.book.counts["Readings"].used > 100
    psi = 6894.757293168361 / 9806.65
    for row in rows:
        station, day, _, inlet, outlet = (c.value for c in sheet[int(row["row"])][:5])
        assert (row["station"], row["date"]) == (station, f"{day:%Y-%m-%d}")
        assert float(row["inlet_m"]) == pytest.approx(inlet * psi, rel=1e-9)
        assert float(row["outlet_m"]) == pytest.approx(outlet * psi, rel=1e-9)


def test_verdicts_and_runs_say_what_the_assessment_says(east: Season) -> None:
    judged = {r.station.name: r for r in east.assessment.stations}
    document = json.loads(east.files["verdicts.json"])
    assert {s["station"]: s["verdict"] for s in document["stations"]} == {
        name: str(r.verdict) for name, r in judged.items()
    }
    for row in table(east, "verdicts"):
        assert row["verdict"] == judged[row["station"]].verdict
        assert row["reason"] == judged[row["station"]].judgement.reason
    counted = {name: len(r.outlook.runs) for name, r in judged.items() if r.outlook}
    names = [row["station"] for row in table(east, "runs")]
    assert {name: names.count(name) for name in counted} == counted


def test_text_that_looks_like_a_formula_has_an_apostrophe_in_front() -> None:
    fields = (Field("remark", "string", "Anything."),)
    texts = ("=cmd|'/c x'!A1", "+1", "-2", "@SUM(A1)", "=\n1", "fine", 'a "b", c', None)
    made = as_csv(ArchiveTable("t", "T", fields, tuple((t,) for t in texts))).decode()
    rows = [row[0] if row else "" for row in csv.reader(io.StringIO(made, newline=""))]
    assert rows[1:6] == ["'=cmd|'/c x'!A1", "'+1", "'-2", "'@SUM(A1)", "'=\n1"]
    assert rows[6:] == ["fine", 'a "b", c', ""]


def test_a_negative_number_is_no_formula(dirty: Season) -> None:
    fields = (Field("rate", "number", "Rate."),)
    assert as_csv(ArchiveTable("t", "T", fields, ((-0.25,),))) == b"rate\r\n-0.25\r\n"


def test_a_constraint_that_the_data_breaks_is_named_and_not_claimed() -> None:
    fields = (
        Field("station", "string", "Name.", required=True),
        Field("ph", "number", "Acidity.", low=0, high=14),
        Field("kind", "string", "Kind.", choices=("a", "b")),
    )
    rows = (("S1", 7.0, "a"), ("S1", 15.0, None), (None, None, "c"))
    held = ArchiveTable("t", "T", fields, rows, "station")
    resource = descriptor([held], {"t": as_csv(held)}, "x.xlsx", "X", "1")["resources"][0]
    assert resource["unmet_constraints"] == [
        "station: required: not kept in 1 of 3 rows",
        "ph: maximum 14: not kept in 1 of 3 rows",
        "kind: enum ['a', 'b']: not kept in 1 of 3 rows",
        "station: a name stands twice or is missing",
    ]
    schema = resource["schema"]
    assert "primaryKey" not in schema
    assert [f.get("constraints") for f in schema["fields"]] == [None, {"minimum": 0}, None]


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("made", ["east", "dirty"])
def test_the_standards_own_library_finds_the_package_valid(
    made: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Frictionless Data, Data Package and Table Schema version 1, by the library `frictionless`."""
    from frictionless import Package

    held: Season = request.getfixturevalue(made)
    put(held.files, tmp_path / "x")
    package = Package(str(tmp_path / "x" / "datapackage.json"))
    report = package.validate()
    assert report.valid, report.flatten(["message"])
    rows = {r.name: len(r.read_rows()) for r in package.resources}
    assert rows == {t.name: len(t.rows) for t in tables(held.assessment)}


def test_a_broken_table_would_be_found_invalid(east: Season, tmp_path: Path) -> None:
    from frictionless import Package

    put(east.files, tmp_path / "x")
    path = tmp_path / "x" / "data" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"2026-04-06", b"06 April  ", 1))
    assert not Package(str(tmp_path / "x" / "datapackage.json")).validate().valid


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler is not installed")
def test_the_summary_is_one_page_with_every_station(kept: Path) -> None:
    page = kept / "east-2026" / "season-summary.pdf"
    info = subprocess.run(["pdfinfo", page], capture_output=True, text=True, check=True).stdout
    assert "Pages:           1" in info
    said = subprocess.run(
        ["pdftotext", "-layout", page, "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "Season summary: East Farm (invented) - 2026" in said
    for station in ("E1", "E2", "E3", "E4", "E5"):
        assert station in said
    assert "gauge" in said
    assert "above zero" in said


def test_a_book_without_entries_can_be_archived(tmp_path: Path) -> None:
    from siltbook.templates.blank import BlankOptions, build

    made = season(build(BlankOptions(stations=("S1",))), "blank.xlsx")
    put(made.files, tmp_path / "blank")
    assert b"no date (no dated entry)" in made.files["READ-ME-FIRST.txt"]


def test_names_of_any_script_and_length_leave_the_page_standing() -> None:
    from siltbook.templates.blank import BlankOptions, build

    names = ("Ångström <b>", "Станция 7", "駅", "&amp; ]]>", "x" * 31)
    made = season(build(BlankOptions(farm="F" * 300, stations=names)), "blank.xlsx")
    assert made.files["season-summary.pdf"].startswith(b"%PDF")


def test_an_archive_is_never_overwritten(east: Season, archive: Path) -> None:
    before = {p: p.read_bytes() for p in archive.rglob("*") if p.is_file()}
    with pytest.raises(BookError) as refused:
        put(east.files, archive)
    assert str(refused.value) == (
        f"{archive}: there is something of this name already. An archive is never overwritten: "
        "choose another folder, or move that one away."
    )
    assert {p: p.read_bytes() for p in archive.rglob("*") if p.is_file()} == before


def test_a_full_disk_leaves_nothing(
    east: Season, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    written: list[Path] = []

    def full(path: Path, content: bytes) -> None:
        written.append(path)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
        if len(written) == 5:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(folder, "_write", full)
    with pytest.raises(BookError, match=r"cannot be written \(No space left on device\)"):
        put(east.files, tmp_path / "x")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.at_length  # test_faults.py: names that differ in capitals only
def test_two_books_of_one_name_do_not_share_a_folder(tmp_path: Path) -> None:
    from click.testing import CliRunner

    from siltbook.batch.cli import main

    for where in ("a", "b"):
        (tmp_path / where).mkdir()
        shutil.copy(SAMPLES / "mixed-units.xlsx", tmp_path / where / "farm.xlsx")
    books = [str(tmp_path / w / "farm.xlsx") for w in ("a", "b")]
    said = CliRunner().invoke(main, ["archive", *books, "--to", str(tmp_path / "to")])
    assert said.exit_code == 3
    assert "An archive is never overwritten" in said.stderr
    assert [p.name for p in (tmp_path / "to").iterdir()] == ["farm"]


@pytest.mark.parametrize(
    "name", ["manifest.json", "a:b.xlsx", "a\\b.xlsx", "a\nb.xlsx", "a\udcff.xlsx"]
)
def test_a_book_whose_name_no_archive_can_hold_is_refused(name: str) -> None:
    with pytest.raises(BookError, match="rename the book"):
        season(b"", name)


def test_ctrl_c_leaves_no_draft(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("siltbook.batch.archive.folder._write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        put({"a.txt": b"a"}, tmp_path / "kept")
    assert not list(tmp_path.iterdir())
