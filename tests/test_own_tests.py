"""Nothing that judges or says something is without a test that names it."""

from __future__ import annotations

import ast
import os
import re
from functools import cache
from pathlib import Path

import pytest

from siltbook.batch.audit.rules import RULES
from siltbook.batch.model import Verdict
from siltbook.checks.findings import CATALOGUE
from siltbook.templates import contract
from tests.amount import ALL, LONG, USUAL, VARIABLE, few, left_out, settle

TESTS = Path(__file__).parent


def words(*folders: str) -> str:
    """All tests of these folders (of all without one), with strings over two lines joined."""
    roots = [TESTS / folder for folder in folders] or [TESTS]
    files = (path for root in roots for path in root.rglob("*.py") if path != Path(__file__))
    text = "\n".join(path.read_text(encoding="utf-8") for path in files)
    return re.sub(r'"\s*\n\s*f?"', "", text)


@pytest.fixture(scope="module")
def every() -> str:
    return words()


@pytest.mark.parametrize("code", sorted(CATALOGUE))
def test_a_finding_is_named_by_a_test(code: str, every: str) -> None:
    """By its code, or by the title that every message of it has."""
    named = f'"{code}"' in every or CATALOGUE[code].title.casefold() in every.casefold()
    assert named, f"no test expects the finding {code}"


@pytest.mark.parametrize("rule", sorted(RULES))
def test_an_audit_rule_is_named_by_a_test(rule: str) -> None:
    assert f'"{rule}"' in words("audit"), f"no test of the audit names {rule}"


@pytest.mark.parametrize("verdict", Verdict)
def test_a_verdict_is_reached_by_a_test_of_the_ladder(verdict: Verdict) -> None:
    assert f"Verdict.{verdict.name}" in words("ladder"), f"no test of the ladder ends {verdict}"


@pytest.mark.parametrize("sheet", [*contract.RESULT_SHEETS, *contract.AUDIT_SHEETS])
def test_a_result_sheet_is_opened_by_a_test(sheet: str, every: str) -> None:
    assert f'"{sheet}"' in every, f"no test opens the sheet {sheet}"


def marks(test: ast.FunctionDef) -> list[str]:
    return [ast.unparse(mark) for mark in test.decorator_list if "at_length" in ast.unparse(mark)]


def test_every_promise_has_a_case_in_the_usual_run() -> None:
    """Of the tests behind a row of the page, one at least is not at length as a whole."""
    page = (TESTS.parent / "docs" / "trust.md").read_text(encoding="utf-8")
    rows = [re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", row) for row in page.splitlines()]
    promises = [row for row in rows if row]
    assert len(promises) > 70
    assert [row for row in promises if all(at_length(*test) for test in row)] == []


def at_length(path: str, name: str) -> bool:
    """Whether no case of this test is in the usual run."""
    tests = [function for function in functions(path) if function.name == name]
    return any("pytest.mark.at_length" in marks(test) for test in tests)


@cache
def functions(path: str) -> list[ast.FunctionDef]:
    """Every function of a file, those of its classes too."""
    tree = ast.walk(ast.parse((TESTS.parent / path).read_text(encoding="utf-8")))
    return [node for node in tree if isinstance(node, ast.FunctionDef)]


def test_the_few_of_a_usual_run_are_spread_from_the_first_to_the_last(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(VARIABLE, USUAL)
    assert [few(range(10), count) for count in (1, 2, 3, 10, 11)] == [
        [0], [0, 9], [0, 4, 9], [*range(10)], [*range(10)]
    ]  # fmt: skip
    monkeypatch.setenv(VARIABLE, ALL)
    assert few(range(10), 1) == [*range(10)]


def test_a_word_that_is_not_known_is_wrong_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "al")
    with pytest.raises(pytest.UsageError, match="SILTBOOK_TESTS is 'al': 'all' and 'usual' are"):
        settle(named=False)
    monkeypatch.delenv(VARIABLE)
    for named, meant in ((False, USUAL), (True, ALL)):
        monkeypatch.setenv(VARIABLE, "")
        settle(named)
        assert os.environ[VARIABLE] == (ALL if LONG else meant)


def test_what_is_at_length_is_marked_on_each_test_by_itself() -> None:
    """So that the test above sees it."""
    marked = re.compile(r"pytestmark = .*at_length|add_marker\(.*at_length|marks=.*at_length")
    for path in TESTS.rglob("*.py"):
        assert path == Path(__file__) or not marked.search(path.read_text("utf-8")), path


@pytest.mark.at_length  # only there are all cases, of which a mark may keep or drop none
def test_each_mark_keeps_some_cases_and_every_piece_of_it_stands_in_one(
    request: pytest.FixtureRequest,
) -> None:
    gone = {item.nodeid for item in left_out(request.session.items)}
    cases: dict[str, list[pytest.Item]] = {}
    for item in request.session.items:
        if item.get_closest_marker("at_length"):
            cases.setdefault(item.nodeid.partition("[")[0], []).append(item)
    for name, items in cases.items():
        if len(items) == 1:  # the whole test, or one case of it that was asked for
            continue
        mark = items[0].get_closest_marker("at_length")
        assert mark is not None
        pieces = [mark.kwargs.get(key, ()) for key in ("keep", "drop")]
        for piece in [p for some in pieces for p in ((some,) if isinstance(some, str) else some)]:
            assert any(piece in i.nodeid.partition("[")[2] for i in items), f"{name}: {piece}"
        assert not mark.kwargs or {i.nodeid for i in items} - gone, name


NUMBER = re.compile(r"\b(float|int|Floats)\b")


def numeric(folder: str) -> list[tuple[str, list[str], str]]:
    """Public functions of a room that take or give numbers: name, those arguments, docstring."""
    found = []
    for path in sorted((TESTS.parent / folder).glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            given = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
            numbers = [a.arg for a in given if NUMBER.search(ast.unparse(a.annotation or a))]
            gives = re.search(r"float|Floats", ast.unparse(node.returns or node.args))
            if numbers or gives:
                told = ast.get_docstring(node) or ""
                found.append((f"{path.stem}.{node.name}", numbers, told))
    return found


@pytest.mark.parametrize(("folder", "least"), [("batch/numbers", 30), ("batch/ladder", 5)])
def test_what_computes_names_its_numbers_and_their_units(folder: str, least: int) -> None:
    """Each argument that is a number stands in the docstring, which has a unit in brackets."""
    functions = numeric(folder)
    assert len(functions) >= least
    lacking = {
        name: [n for n in numbers if not re.search(rf"\b{n}\b", told)] or "no unit in brackets"
        for name, numbers, told in functions
        if "[" not in told or not all(re.search(rf"\b{n}\b", told) for n in numbers)
    }
    assert lacking == {}


def test_no_test_asserts_a_time() -> None:
    """A busy machine is no fault of the code: `tests/effort.py` counts calls."""
    timed = re.compile(r"assert .*(perf_counter|process_time|monotonic)\(\) - ")
    for path in TESTS.rglob("*.py"):
        if "benchmarks" not in path.parts:
            assert not timed.search(path.read_text(encoding="utf-8")), path
