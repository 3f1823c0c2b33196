"""The house keeps its rules: imports flow one way, and the written commands are the real ones."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from tests.amount import ALL, VARIABLE

ROOT = Path(__file__).resolve().parents[1]
ALLOWED = {
    "templates": {"templates"},
    "checks": {"checks", "templates"},
    "batch": {"batch", "checks", "templates"},
}


def room(module: str) -> str:
    """`siltbook.batch.ladder` -> `batch`; of any other module its first name."""
    return module.removeprefix("siltbook.").split(".")[0]


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {room(alias.name) for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(room(node.module))
    return found


@pytest.mark.parametrize("folder", sorted(ALLOWED))
def test_nothing_imports_backwards(folder: str) -> None:
    for path in (ROOT / folder).rglob("*.py"):
        backwards = imported(path) & (set(ALLOWED) | {"tests"}) - ALLOWED[folder]
        assert not backwards, f"{path} imports {backwards}"


def test_ci_runs_the_commands_of_the_readme() -> None:
    readme = (ROOT / "README.md").read_text()
    ci = (ROOT / ".ci" / "run").read_text()
    commands = [c.strip() for c in re.findall(r"```sh\n(.*?)```", readme, re.DOTALL)]
    assert len(commands) == 2
    assert all(command in ci.splitlines() for command in commands)
    # Nothing lands without all tests: those at length, which the usual run leaves out, as well.
    assert f"\nexport {VARIABLE}={ALL}\n" in ci[: ci.index(commands[1])]
    for page in ("README.md", "DEVELOPERS.md"):
        assert f"`{VARIABLE}={ALL}`" in (ROOT / page).read_text()


def test_windows_gets_the_same_commands_in_words_that_both_its_shells_take() -> None:
    """PowerShell knew no && before its version 7, cmd no single quotes; neither has python3."""
    readme = (ROOT / "README.md").read_text()
    both = [re.findall(rf"```{kind}\n(.*?)```", readme, re.DOTALL) for kind in ("sh", "bat")]
    assert [len(blocks) for blocks in both] == [2, 2]
    for theirs, ours in zip(*both, strict=True):
        words = theirs.strip().replace("python3", "py").replace(".venv/bin/", ".venv\\Scripts\\")
        words = words.replace("sample_workbooks/", "sample_workbooks\\")
        assert ours.strip().splitlines() == words.split(" && ")
        assert not set("'&;|$`") & set(ours)
    told = readme.replace(both[0][0], "").replace(both[0][1], "")
    for command in re.findall(r"`((?:siltbook|pip|py|\.venv)\b[^`]*)`", told):
        assert not re.search(r"&&|'|python3", command), command


def test_from_nothing_to_actions_takes_six_steps_and_one_terminal() -> None:
    readme = (ROOT / "README.md").read_text()
    begin = readme.index("## From nothing to Actions: six steps, one of them in a terminal")
    part = readme[begin : readme.index("\n## ", begin)]
    steps = re.findall(r"^\d\. (.*)$", part, re.MULTILINE)
    assert len(steps) == 6
    assert sum("terminal" in step.lower() for step in steps) == 1
    assert "*Actions*" in steps[-1]


def test_each_way_to_install_stands_beside_its_words_for_windows() -> None:
    readme = (ROOT / "README.md").read_text()
    rows = re.findall(r"^\|(.*?)\| (`.*`) \| (`.*`) \|$", readme, re.MULTILINE)
    ways = [row for row in rows if re.search(r"install|shortcut|ensurepath|venv", row[2])]
    assert [way.strip()[:4] for way, *_ in ways if way.strip()] == ["1. u", "2. p", "3. p"]
    assert len(ways) == 9
    for _, ours, theirs in ways:
        words = ours.replace("python3", "py").replace(".venv/bin/", ".venv\\Scripts\\")
        assert theirs == words


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_links_and_pictures_exist(page: str) -> None:
    for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / page).read_text()):
        assert (ROOT / target).exists(), target


def test_every_test_that_the_trust_page_names_exists() -> None:
    named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", (ROOT / "docs" / "trust.md").read_text())
    assert len(named) > 50
    for path, name in named:
        assert f"def {name}(" in (ROOT / path).read_text(), f"{path}::{name}"


def test_each_promise_says_what_stands_behind_it_on_systems_that_are_not_at_hand() -> None:
    page = (ROOT / "docs" / "trust.md").read_text()
    rows = [line for line in page.splitlines() if line.startswith("| ") and "`tests/" in line]
    assert len(rows) > 80
    assert {row.split(" | ")[-1] for row in rows} == {"simulated |", "only read |"}
    taking_their_part = "test_other_systems.py"
    assert all(row.endswith("| simulated |") for row in rows if taking_their_part in row)


def test_the_latest_episode_is_asked_for_by_its_name() -> None:
    """`episode` of a standing or a judgement: four modules sliced the list, each in its own way."""
    places = {
        path.name
        for path in (ROOT / "batch").rglob("*.py")
        if "episodes[-1" in path.read_text()
    }
    assert places == {"model.py", "replay.py"}
