"""Nothing that judges or says something is without a test that names it."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from siltbook.batch.audit.rules import RULES
from siltbook.batch.model import Verdict
from siltbook.checks.findings import CATALOGUE
from siltbook.templates import contract

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
