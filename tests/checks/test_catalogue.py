"""The catalogue and its page say the same, and messages have one shape."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from siltbook.checks.findings import CATALOGUE, Severity, find

PAGE = Path(__file__).parents[2] / "docs" / "findings.md"
ROW = re.compile(r"^\| `([a-z-]+)` \| (.+?) \| (.+?) \| (.+?) \| (.+?) \|$", re.MULTILINE)


def test_page_lists_every_code_once_and_no_other() -> None:
    codes = [match[0] for match in ROW.findall(PAGE.read_text(encoding="utf-8"))]
    assert sorted(codes) == sorted(CATALOGUE)


def test_page_agrees_with_the_catalogue() -> None:
    for code, severity, title, do, when in ROW.findall(PAGE.read_text(encoding="utf-8")):
        rule = CATALOGUE[code]
        assert (severity, title, do) == (rule.severity.value, rule.title, rule.do)
        assert when.endswith(".")


def test_codes_named_in_the_checks_exist() -> None:
    folder = Path(__file__).parents[2] / "checks"
    prefixes = {code.split("-")[0] for code in CATALOGUE}
    for module in folder.glob("*.py"):
        for text in re.findall(r'"([a-z]+(?:-[a-z]+)+)"', module.read_text(encoding="utf-8")):
            if text.split("-")[0] in prefixes:
                assert text in CATALOGUE, f"{module.name} names {text}"


def test_message_has_one_shape() -> None:
    found = find(
        "pressure-negative", sheet="Readings", cell="D7", read="-1 bar", accepted="0 or more"
    )
    assert found.message == (
        "Readings!D7: negative pressure: read -1 bar; accepted: 0 or more. "
        "Check the sign and the gauge."
    )
    assert found.severity is Severity.ERROR


def test_message_without_a_cell_names_the_sheet_alone() -> None:
    found = find("sheet-missing", sheet="Work done", cell="", read="nothing", accepted="the sheet")
    assert found.message.startswith("Work done: sheet not found: read nothing;")


def test_unknown_code_is_refused() -> None:
    with pytest.raises(KeyError, match="no-such-code"):
        find("no-such-code", sheet="Farm", cell="", read="", accepted="")


@pytest.mark.parametrize("code", sorted(CATALOGUE))
def test_every_rule_says_what_to_do_in_a_sentence(code: str) -> None:
    rule = CATALOGUE[code]
    assert rule.do.endswith(".")
    assert rule.do[0].isupper()
    assert rule.title[0].isupper()
    assert not rule.title.endswith(".")
