"""The setting *Show dates as*: words and cells follow it, verdicts and numbers do not."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from siltbook.batch.archive.folder import put, season
from siltbook.batch.archive.summary import summary
from siltbook.batch.assess import assess, with_bill
from siltbook.batch.audit.job import audited
from siltbook.batch.audit.report import lines
from siltbook.batch.cli import main
from siltbook.batch.commands.merge import lines as lines_of_merge
from siltbook.batch.job import Reviewed, review_bytes
from siltbook.batch.merging.job import merge_bytes
from siltbook.batch.paper.audit_paper import audit_paper
from siltbook.batch.paper.round_sheet import round_sheet
from siltbook.batch.paper.station_card import station_cards
from siltbook.batch.reading.book import read_book
from siltbook.batch.report.book import book_json, short_table
from siltbook.batch.review.agree import enter_agreed
from siltbook.batch.review.farm import read_month
from siltbook.batch.review.month import Month
from siltbook.batch.review.pack import make_pack, pack_bytes
from siltbook.batch.typed.mark import read_mark
from siltbook.templates.contract import AUDIT_SHEETS, RESULT_SHEETS
from siltbook.templates.days import ISO, WAYS, written
from siltbook.templates.shown import shown_in
from tests.amount import amount
from tests.paper.test_paper import needs_poppler
from tests.samples.load import SAMPLES, assessed
from tests.samples.test_own_units import drawn, read, texts
from tests.typed.farm import opened
from tests.whole.dated import DAY_FIRST, ISO_DAY, MONTH_FIRST, dated, dates, iso

BOOK, DIRTY = "twelve-stations.xlsx", "real-life-psi.xlsx"
NAMES = (BOOK, DIRTY)
WORDS = ("reason", "message", "why", "steps", "notes", "silent")
SHOWN_DAY = re.compile(r"\b\d\d/\d\d/\d{4}\b")


@cache
def reviewed(name: str, choice: str = DAY_FIRST) -> Reviewed:
    return review_bytes(dated((SAMPLES / name).read_bytes(), choice), name, name)


@cache
def judged() -> dict[str, Any]:
    return {way: document(way) for way in ("", *WAYS)}


def document(way: str) -> Any:
    found = assessed(DIRTY)
    book = replace(found.book, settings=replace(found.book.settings, show_dates=way))
    again = with_bill(assess(book, as_of=found.as_of, findings=()))
    return json.loads(json.dumps(book_json(again, DIRTY, None)))


def plain(value: Any, key: str = "") -> Any:
    if isinstance(value, dict):
        return {k: plain(v, k) for k, v in value.items()}
    if isinstance(value, list):
        return [plain(v, key) for v in value]
    words = isinstance(value, str) and key in WORDS
    return ISO_DAY.sub("#", SHOWN_DAY.sub("#", value)) if words else value


@given(st.sampled_from(WAYS), st.dates(dt.date(1950, 1, 1), dt.date(2149, 12, 31)))
@settings(deadline=None, max_examples=amount(40, 500), derandomize=True)
def test_a_day_is_told_from_every_other_in_each_way(way: str, day: dt.date) -> None:
    text = shown_in("m", way).day(day)
    order = {ISO: "%Y-%m-%d", DAY_FIRST: "%d/%m/%Y", MONTH_FIRST: "%m/%d/%Y"}[way]
    assert dt.datetime.strptime(text, order).date() == day
    assert written(dt.date(2026, 8, 30), way) == way


@pytest.mark.parametrize("way", [w for w in WAYS if w != ISO])
def test_nothing_but_words_depends_on_the_way_of_dates(way: str) -> None:
    assert judged()[""] == judged()[ISO]
    assert judged()[way] != judged()[""]
    assert plain(judged()[way]) == plain(judged()[""])


@pytest.mark.at_length(keep="real-life")
@pytest.mark.parametrize("name", NAMES)
def test_no_other_date_stands_on_a_sheet_or_chart_in_the_terminal_or_the_audit(name: str) -> None:
    made = reviewed(name)
    assert iso(texts(made.package, RESULT_SHEETS)) == []
    assert iso(drawn(made.package)) == []
    assert iso(short_table(made.assessment, name)) == []
    formats = {form for _, _, form in dates(made.package, RESULT_SHEETS)}
    assert formats == {r"dd\/mm\/yyyy"}
    audit, package = audited(made.package, name)
    assert iso(texts(package, AUDIT_SHEETS)) == []
    assert iso(lines(audit, name)) == []
    told = {r.rule.code: r.state for r in audit.results}
    assert {told[code] for code in ("same-numbers", "same-formulas", "same-inputs")} == {"quiet"}


@pytest.mark.at_length(keep="real-life")
@pytest.mark.parametrize("name", NAMES)
def test_every_sheet_says_once_in_its_head_how_dates_are_shown(name: str) -> None:
    for choice, order in ((DAY_FIRST, "day/month/year"), (MONTH_FIRST, "month/day/year")):
        made = reviewed(name, choice)
        for sheet in RESULT_SHEETS:
            said = [t for t in texts(made.package, (sheet,)) if f"dates are {order}" in t]
            assert 1 <= len(said) <= 2, sheet  # once for people; a wide sheet's mark is unseen
    assert not [t for t in texts(reviewed(name, ISO).package, RESULT_SHEETS) if "dates are" in t]


@pytest.mark.at_length(keep="real-life")
@needs_poppler
@pytest.mark.parametrize("name", NAMES)
def test_no_other_date_stands_on_a_page_and_each_says_the_order(name: str, tmp_path: Path) -> None:
    assessment, data = reviewed(name).assessment, dated((SAMPLES / name).read_bytes())
    names = [assessment.stations[0].station.name]
    for made in (
        summary(assessment, name, "test"),
        round_sheet(assessment, name, "test"),
        station_cards(assessment, name, "test", names),
        audit_paper(audited(data, name)[0], name, data, "test"),
    ):
        said = read(made, tmp_path)
        assert iso(said) == []
        assert re.search(r"[Dd]ates are\s+day/month/year", " ".join(said))


@pytest.mark.at_length  # sheets, terminal and pages show them so
def test_a_pack_of_farms_that_agree_shows_dates_so_and_of_others_as_iso() -> None:
    month = Month(2026, 8)
    paths = {"a.xlsx": "portfolio/hill-2026.xlsx", "b.xlsx": "all-in-psi.xlsx"}
    kept = {name: (SAMPLES / path).read_bytes() for name, path in paths.items()}
    alike = [read_month(dated(data), name, month) for name, data in kept.items()]
    package = pack_bytes(make_pack(alike, month, "test"))
    sheets = ("Agenda", "Episodes", "Flushes", "Forecast")
    assert iso(texts(package, ())) == []
    assert iso(drawn(package)) == []
    head = next(t for t in texts(package, ("Agenda",)) if "as of" in t)
    assert "dates are day/month/year" in head
    assert {form for _, _, form in dates(package, sheets)} == {r"dd\/mm\/yyyy"}
    ways = zip(kept.items(), (DAY_FIRST, MONTH_FIRST), strict=True)
    mixed = [read_month(dated(data, way), name, month) for (name, data), way in ways]
    package = pack_bytes(make_pack(mixed, month, "test"))
    assert not [t for t in texts(package, ()) if SHOWN_DAY.search(t) or "dates are" in t]
    assert {form for _, _, form in dates(package, sheets)} == {"yyyy-mm-dd"}


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("choice", WAYS)
def test_a_reviewed_book_is_known_again_and_run_again(choice: str) -> None:
    first = reviewed(DIRTY, choice)
    marks = [m for t in texts(first.package, RESULT_SHEETS) if (m := read_mark(t))]
    assert {mark.as_of for mark in marks} == {first.assessment.as_of}
    assert len(marks) == len(RESULT_SHEETS)
    again = review_bytes(first.package, DIRTY, DIRTY)
    assert list(texts(again.package, RESULT_SHEETS)) == list(texts(first.package, RESULT_SHEETS))


def test_a_mark_with_a_day_that_cannot_be_has_none() -> None:
    line = "Written by Siltbook 0.2.0 · a.xlsx · as of {} (dates are {}/year)"
    line += " · replaced at every run"
    found = read_mark(line.format("08/09/2026", "month/day"))
    assert found is not None
    assert found.as_of == dt.date(2026, 8, 9)
    found = read_mark(line.format("08/09/2026", "day/month"))
    assert found is not None
    assert found.as_of == dt.date(2026, 9, 8)
    found = read_mark(line.format("30/08/2026", "month/day"))
    assert found is not None
    assert found.as_of is None
    assert read_mark(line.format("30/08/2026", "week/day")) is None


@pytest.mark.at_length  # sheets, terminal and pages show them so
def test_seasons_and_what_is_carried_over_show_dates_as_the_farm_does(tmp_path: Path) -> None:
    data = dated((SAMPLES / "portfolio" / "east-2026.xlsx").read_bytes())
    kept = season(data, "east-2026.xlsx")
    put(kept.files, tmp_path / "kept" / "east-2026")
    csv = [p for p in kept.files if p.endswith("readings.csv")]
    assert ISO_DAY.search(kept.files[csv[0]].decode())
    assert not SHOWN_DAY.search(kept.files[csv[0]].decode())
    target = tmp_path / "next.xlsx"
    done = CliRunner().invoke(main, ["season", str(tmp_path / "kept"), "--template", str(target)])
    assert done.exit_code == 0, done.output
    book = read_book(target.read_bytes(), target.name).book
    assert book.settings.show_dates == DAY_FIRST
    assert iso(texts(target.read_bytes(), ("Agreed", "Carried over", "Seasons"))) == []
    assert CliRunner().invoke(main, ["verify", str(tmp_path / "kept")]).exit_code == 0


@pytest.mark.at_length  # test_agree.py: a date may be a date or text
def test_what_the_meeting_agrees_is_carried_into_a_book_that_shows_dates_so() -> None:
    book = dated((SAMPLES / DIRTY).read_bytes(), MONTH_FIRST)
    first = review_bytes(book, DIRTY, DIRTY)
    sheet = opened(first.package)
    actions = sheet["Actions"]
    header = next(r for r in range(1, 9) if actions.cell(r, 1).value == "Verdict")
    places = {str(c.value): c.column for c in actions[header]}
    station = actions.cell(header + 1, places["Station"]).value
    actions.cell(header + 1, places["Action agreed"]).value = "Look at it"
    actions.cell(header + 1, places["By when"]).value = dt.date(2026, 9, 8)
    filled = BytesIO()
    sheet.save(filled)
    kept = review_bytes(filled.getvalue(), DIRTY, DIRTY)  # the boxes stay where they were filled
    assert "Look at it" in set(texts(kept.package, ("Actions",)))
    done = enter_agreed(filled.getvalue(), DIRTY, book, DIRTY)
    assert done.data is not None
    frame = read_book(done.data, DIRTY).book.agreed.frame
    last = frame.iloc[-1]
    assert (last["station"], last["due"]) == (station, dt.date(2026, 9, 8))


def test_what_copies_do_not_agree_on_is_shown_as_the_book_has_its_dates() -> None:
    book = dated((SAMPLES / DIRTY).read_bytes())
    other = opened(book)
    other["Agreed"]["D3"].value = dt.date(2026, 9, 8)
    copy = BytesIO()
    other.save(copy)
    done = merge_bytes((book, "book.xlsx"), [(copy.getvalue(), "copy.xlsx")], None)
    assert done.data is not None
    said = list(texts(done.data, ("Conflicts",)))
    assert "08/09/2026" in said
    assert any("Dates are day/month/year." in text for text in said)
    notes = [text for text in said if text.startswith("{")]  # what the next merge reads
    assert iso(set(said) - set(notes)) == []
    assert "08/09/2026" in "".join(lines_of_merge(done, Path("book.xlsx"), None))
