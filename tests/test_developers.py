"""The page for contributors says what is there."""

from __future__ import annotations

import re
from pathlib import Path
from statistics import median

import pytest

from tests.benchmarks import house

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
THINGS = (
    "input column", "column of a table", "unit", "check", "verdict",
    "wording of a verdict's sentence", "step or caution", "word of another language in a cell",
    "audit rule", "result sheet",
)  # fmt: skip


def rows() -> dict[str, str]:
    table = PAGE[PAGE.index("| a new | goes into") : PAGE.index("### An example")]
    cells = [line.strip("| ").split(" | ") for line in table.splitlines() if line.startswith("|")]
    return {cell[0]: " ".join(cell[1:]) for cell in cells[2:]}


def test_the_page_says_where_everything_new_goes() -> None:
    assert tuple(rows()) == THINGS


@pytest.mark.parametrize("thing", THINGS)
def test_the_files_are_there_and_hold_what_is_named(thing: str) -> None:
    said = rows()[thing]
    paths = re.findall(r"`([\w./-]+/[\w./-]*)`", said)
    assert paths, thing
    for path in paths:
        assert (ROOT / path).exists(), path
    code = "\n".join((ROOT / p).read_text() for p in paths if p.endswith(".py"))
    for name in re.findall(r"`(_?[A-Z]\w+|_?[A-Z_]{4,}|short|long|touches)`", said):
        assert re.search(rf"\b{name}\b", code), f"{name} stands in none of {paths}"


def test_every_folder_that_the_page_describes_is_there_and_every_room_is_described() -> None:
    described = set(re.findall(r"^\| `([\w/]+)/` \|", PAGE, re.MULTILINE))
    assert all((ROOT / folder).is_dir() for folder in described)
    rooms = {p.parent.relative_to(ROOT).as_posix() for p in (ROOT / "batch").rglob("__init__.py")}
    assert rooms <= described, rooms - described


def test_every_word_of_the_glossary_names_something_that_is_there() -> None:
    page = (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8")
    named = re.findall(r"`([\w/]+\.py)::(\w+)`", page)
    assert len(named) == page.count("\n| ") - 1
    for path, name in named:
        code = (ROOT / path).read_text(encoding="utf-8")
        assert re.search(rf"^(class|def) {name}\b", code, re.MULTILINE), f"{path}::{name}"


def test_the_house_keeps_the_limits_that_its_table_shows() -> None:
    """The page's figures may lag by a commit; what they are held to may not."""
    code = house.modules(*house.ROOMS)
    bodies = [house.body_lines(f) for path in code for f in house.functions(path)]
    assert median(bodies) <= 10
    assert max(bodies) <= 60
    assert all(house.annotated(f) for path in code for f in house.functions(path))
    assert max(map(house.lines_of, code)) <= 400
    for name, _, asked in house.measures():
        row = rf"^\| {re.escape(name)} \| .+ \| {re.escape(asked)} \|$"
        assert re.search(row, PAGE, re.MULTILINE), name
