"""No output tells someone to do something that can hurt without its caution beside it.

What is looked for are the steps, verdicts and findings as values with what they touch, and, apart
from those, the trade's own words for such work, so that a step that forgot what it touches fails.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from click.testing import CliRunner

from siltbook.batch.archive.carry_register import next_book
from siltbook.batch.archive.summary import summary
from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.sheets import audit_book
from siltbook.batch.cli import main
from siltbook.batch.job import assess_bytes
from siltbook.batch.ladder.next_steps import task_of
from siltbook.batch.ladder.replay import Gear
from siltbook.batch.model import Verdict
from siltbook.batch.results import Assessment
from siltbook.batch.sheets.book import result_book
from siltbook.checks.findings import CATALOGUE
from siltbook.templates import look, orders, safety
from siltbook.templates.contract import AUDIT_SHEETS
from siltbook.templates.orders import in_short, order_of_work
from siltbook.templates.safety import CAUTIONS, Step, Task, Touch, cautions, touched_by
from tests.samples.load import SAMPLES as FOLDER
from tests.samples.load import assessed
from tests.sheets.example import NAMES, whole

pytestmark = pytest.mark.filterwarnings("ignore:.*not supported and will be removed")

ROOT = Path(__file__).resolve().parents[2]
# What lies in as-kept is no book yet: adopt takes it.
SAMPLES = sorted(
    path for path in (ROOT / "sample_workbooks").rglob("*.xlsx") if path.parent.name != "as-kept"
)
TWELVE = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
DOCS = ("README.md", "docs/method.md", "docs/review.md")
# The trade's own words for work that can hurt, whatever a step says of itself.
WORDS = {
    Touch.OPENS_FILTER: r"cover off|screen out|open the filter|plan a hand cleaning|cleaning by"
    r" hand|clean it properly|inspect the element|replace it if need",
    Touch.WIRING: r"battery|\bsolenoid first|\bcables?\b|off its bracket",
    Touch.PRESSURE: r"flush cycles? |downstream valve|command tubes|look for a leak",
    Touch.SUPPLY: r"look at the pump|suction side",
}
# Words that say what was, or what a column means, and ask for nothing.
TELLS = re.compile(r"With both valves open|Cleaning by hand at another drop")


def instructions() -> Iterator[tuple[str, frozenset[Touch]]]:
    """Every text that asks for work, with what that touches."""
    for task in Task:
        for gear_works in (True, False):
            for step in order_of_work(task, gear_works):
                yield step.words, step.touches
                yield step.brief, step.touches
            whole = order_of_work(task, gear_works)
            yield in_short(whole), touched_by(whole)
    for verdict in Verdict:
        task = task_of(verdict, Gear.TRUSTED)  # a suspect controller's steps speak for themselves
        touches = touched_by(order_of_work(task)) if task else frozenset()
        yield look.VERDICTS[verdict].label, touches
    for rule in CATALOGUE.values():
        yield rule.do, rule.touches


def lacking(text: str) -> list[str]:
    """What the text asks for without its caution; the cautions themselves ask for nothing."""
    flat = " ".join(text.split())
    needed = {(told, t) for told, touches in instructions() for t in touches if told in flat}
    rest = flat
    for words in (*CAUTIONS.values(), safety.EMERGENCY, safety.MAKER_FIRST):
        rest = rest.replace(words, "")
    rest = TELLS.sub("", rest)
    needed |= {(w, touch) for touch, w in WORDS.items() if re.search(w, rest, re.I)}
    missing = [f"{told}: {touch}" for told, touch in needed if CAUTIONS[touch] not in flat]
    return missing + ([] if not needed or safety.EMERGENCY in flat else ["the emergency"])


def pages(package: bytes) -> dict[str, str]:
    """The text of each sheet."""
    book = openpyxl.load_workbook(io.BytesIO(package), read_only=True)
    return {
        sheet.title: "\n".join(str(v) for row in sheet.values for v in row if v is not None)
        for sheet in book
    }


def made(assessment: Assessment, name: str) -> bytes:
    """The result sheets of a book."""
    return whole(result_book(assessment, NAMES, name, "0"))


@pytest.mark.at_length(keep=("twelve-stations", "real-life"))
@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.stem)
def test_result_sheets(path: Path) -> None:
    shown = pages(made(assessed(str(path.relative_to(FOLDER))), path.name))
    for name in ("Actions", "Station review", "Findings", "Water review"):
        assert lacking(shown[name]) == [], name


def test_audit_sheets() -> None:
    audit = audit_bytes(TWELVE.read_bytes(), TWELVE.name, None)
    shown = pages(audit_book(audit, AUDIT_SHEETS, TWELVE.name))
    for name in ("Audit summary", "Audit detail"):
        text = shown[name]
        assert safety.BEFORE_OPENING in text, name
        assert lacking(text) == [], name


def test_pack_and_terminal_of_the_review(tmp_path: Path) -> None:
    portfolio = ROOT / "sample_workbooks" / "portfolio"
    books = [str(portfolio / f"{name}-2026.xlsx") for name in ("east", "north")]
    asked = ["review", *books, "--month", "2026-07", "--no-pdf", "--out", str(tmp_path)]
    said = CliRunner().invoke(main, asked).stdout
    assert lacking(said) == []
    assert safety.BEFORE_OPENING in said
    pack = next(tmp_path.glob("*.xlsx")).read_bytes()
    for name, text in pages(pack).items():
        if name in ("Agenda", "What changed", "Forecast", "Agreed", "Data questions"):
            assert lacking(text) == [], name
    assert all(words in pages(pack)["Agreed"] for words in cautions(safety.ANYTHING))


@pytest.mark.parametrize("command", ["run", "check"])
def test_terminal(command: str, tmp_path: Path) -> None:
    more = ["--out", str(tmp_path)] if command == "run" else []
    said = CliRunner().invoke(main, [command, str(TWELVE), *more]).stdout
    assert safety.BEFORE_OPENING in said
    assert lacking(said) == []
    if command == "run":
        said = CliRunner().invoke(main, ["run", str(TWELVE), *more, "--json"]).stdout
        (book,) = json.loads(said)["books"]
        steps = [step for station in book["stations"] for step in station["steps"]]
        assert all(isinstance(step, str) for step in steps)
        assert lacking("\n".join([*steps, *book["cautions"]])) == []


def test_archive_page_and_next_season() -> None:
    season = assessed("portfolio/east-2026.xlsx")
    page = summary(season, "east-2026.xlsx", "0").decode("latin-1")
    text = " ".join(" ".join(re.findall(r"\((.*?)(?<!\\)\) Tj", page)).split())
    text = re.sub(r"\\([()\\])", r"\1", text)
    assert safety.EMERGENCY in text
    assert safety.BEFORE_OPENING in text
    sheets = pages(next_book(season))
    assert "Escalate" in sheets["Agreed"]
    assert safety.ON_START_HERE in sheets["Agreed"]
    assert lacking(sheets["Start here"]) == []
    assert all(words in sheets["Start here"] for words in cautions(safety.ANYTHING))


@pytest.mark.parametrize("page", DOCS)
def test_pages_of_the_repository(page: str) -> None:
    text = (ROOT / page).read_text()
    assert all(words in text for words in cautions(safety.ANYTHING))
    assert lacking(text) == []


def test_the_order_before_opening_is_one_and_the_same() -> None:
    for task in (Task.HAND_CLEANING, Task.INSPECTION):
        said = " ".join(step.words for step in order_of_work(task))
        order = (
            "no automatic flush", "injection", "above zero", "downstream valve", "pressure off",
            "both sides", "still not at zero: call for help", "cover off",
        )  # fmt: skip
        at = [said.index(words) for words in order]
        assert at == sorted(at)


@pytest.mark.parametrize("task", [Task.HAND_CLEANING, Task.INSPECTION])
def test_no_flush_cycle_lets_pressure_off_where_the_gear_is_suspect(task: Task) -> None:
    assert any("with a flush cycle" in s.words for s in order_of_work(task, True))
    suspect = order_of_work(task, False)
    assert not any("flush cycle" in s.words for s in suspect)
    assert any("drain or vent, or by hand at the flush valve" in s.words for s in suspect)


def test_a_valve_that_does_not_close_stops_the_work() -> None:
    """The order went on: flush, take the cover off."""
    for task in (Task.FLUSH, Task.HAND_CLEANING, Task.INSPECTION, Task.FIELD):
        said = " ".join(step.words for step in order_of_work(task))
        assert re.search("does not close: (no flush|do not open|call for help)", said), task
    assert "one that is stuck or does not close is for qualified help" in safety.UNDER_PRESSURE
    assert safety.BEFORE_OPENING.endswith(
        "still not at zero, or a valve that does not close: do not open; call for help."
    )
    assert "ask first who shut it" in safety.READ_AGAIN


@pytest.mark.parametrize("task", Task)
def test_whoever_closes_a_valve_opens_it_again_and_reads(task: Task) -> None:
    said = [step.words for step in order_of_work(task)]
    closed = [n for n, words in enumerate(said) if re.search(r"\bclose the", words, re.I)]
    opened = [n for n, words in enumerate(said) if re.search(r"\bopen (the|again|it)", words, re.I)]
    assert not closed or max(opened) >= max(closed)
    if task is not Task.FIELD:
        assert "both valves open" in said[-1]


def test_the_battery_is_out_first_and_back_last() -> None:
    said = [step.words for step in order_of_work(Task.SOLENOID)]
    assert "battery out first" in said[0]
    back = next(n for n, words in enumerate(said) if "battery back last" in words)
    assert max(n for n, words in enumerate(said) if "tubes" in words) < back
    assert "full flush" in said[back + 1]


def test_the_emergency_comes_first_and_nothing_touched_needs_nothing() -> None:
    assert cautions([Touch.WIRING])[0] == safety.EMERGENCY
    assert cautions([]) == ()


def test_a_step_that_forgets_what_it_touches_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Cautions lost by an order of work: the walk above must fail."""

    def bare(gear_works: bool, rule: object) -> tuple[Step, ...]:
        steps = hand_cleaning(gear_works, rule)
        return tuple(replace(step, touches=frozenset()) for step in steps)

    hand_cleaning = orders._ORDERS[Task.HAND_CLEANING]
    north = ROOT / "sample_workbooks" / "twelve-stations.xlsx"
    monkeypatch.setitem(orders._ORDERS, Task.HAND_CLEANING, bare)
    season = assess_bytes(north.read_bytes(), north.name)
    only = tuple(r for r in season.stations if r.verdict is Verdict.HAND_CLEAN)
    text = pages(made(replace(season, stations=only), "x.xlsx"))["Actions"]
    assert "Cover off" in text
    assert any("opens a filter" in one for one in lacking(text))


@pytest.mark.parametrize("touch", [t for t in Touch if t is not Touch.GAS])
def test_a_page_without_one_caution_is_noticed(touch: Touch) -> None:
    text = (ROOT / "README.md").read_text()
    steps = [s.words for task in Task for s in order_of_work(task) if touch in s.touches]
    if not steps:
        pytest.skip("no step of the orders handles chemicals")
    said = f"{steps[0]} {text}"
    assert lacking(said) == []
    assert lacking(said.replace(CAUTIONS[touch], "")) != []
