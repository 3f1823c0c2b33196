"""What a repository has, and that its pieces agree."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import yaml

import siltbook

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def test_the_licence_is_there_and_named() -> None:
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert text.startswith("MIT License\n")
    assert "The Siltbook contributors" in text
    assert (PROJECT["license"], PROJECT["license-files"]) == ("MIT", ["LICENSE"])


def test_the_changelog_begins_with_this_version_and_each_says_first_what_may_change() -> None:
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    versions = re.findall(r"^## (\S+)\n\n(.*)$", text, re.MULTILINE)
    assert versions[0][0] == siltbook.__version__
    assert all("change your verdicts or numbers" in first for _, first in versions)


def test_the_hooks_run_what_the_gate_runs() -> None:
    (source,) = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text())["repos"]
    assert source["repo"] == "local", "a hook from elsewhere would need the network"
    assert [hook["entry"].split()[0] for hook in source["hooks"]] == ["ruff", "mypy"]
    commands = (ROOT / ".ci" / "run").read_text()
    assert all(hook["id"] in commands for hook in source["hooks"])


def test_what_is_promised_of_a_strangers_file_is_written_down() -> None:
    text = (ROOT / "SECURITY.md").read_text(encoding="utf-8")
    for link in re.findall(r"\]\(([^)#]+)\)", text):
        assert (ROOT / link).exists(), link
    assert "How to report" in text


def test_every_page_of_the_documentation_can_be_reached_from_the_readme() -> None:
    reached, ahead = set(), [ROOT / "README.md"]
    while ahead:
        page = ahead.pop()
        reached.add(page)
        for link in re.findall(r"\]\(([^)#]+\.md)\)", page.read_text(encoding="utf-8")):
            target = (page.parent / link).resolve()
            ahead += [] if target in reached else [target]
    assert set((ROOT / "docs").glob("*.md")) <= reached


def test_no_half_merged_file_is_kept() -> None:
    texts = (
        p for kind in ("md", "py", "toml", "yaml", "csv", "json") for p in ROOT.rglob(f"*.{kind}")
    )
    kept = (p for p in texts if not {".venv", ".git", "node_modules"} & set(p.parts))
    assert [p for p in kept if re.search(r"^(<{7}|>{7}) ", p.read_text("utf-8"), re.M)] == []


def test_every_run_time_requirement_is_imported() -> None:
    code = "\n".join(
        path.read_text(encoding="utf-8")
        for folder in ("batch", "checks", "templates", "src")
        for path in (ROOT / folder).rglob("*.py")
    )
    for requirement in PROJECT["dependencies"]:
        name = re.split(r"[^\w-]", requirement)[0].replace("-", "_")
        assert re.search(rf"^\s*(?:import|from) {name}\b", code, re.MULTILINE), requirement
