"""The examples of DEVELOPERS.md, replayed on a copy of the program."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def examples() -> list[tuple[str, str, str]]:
    """(file, line that stands there, line to add behind it) of every example on the page."""
    found, path, stands = [], "", ""
    for block in re.findall(r"```diff\n(.*?)```", (ROOT / "DEVELOPERS.md").read_text(), re.DOTALL):
        for line in block.splitlines():
            if line.startswith("--- "):
                path = line.removeprefix("--- ")
            elif line.startswith("+"):
                found.append((path, stands, line[1:]))
            else:
                stands = line[1:]
    return found


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The program as a folder `siltbook` of its own."""
    package = tmp_path / "siltbook"
    package.mkdir()
    for name in ("__init__.py", "__main__.py"):
        shutil.copy(ROOT / "src" / "siltbook" / name, package)
    for folder in ("batch", "checks", "templates"):
        skip = shutil.ignore_patterns("__pycache__", "*.xlsx")
        shutil.copytree(ROOT / folder, package / folder, ignore=skip)
    return tmp_path


def add(copy: Path, path: str, stands: str, line: str) -> None:
    file = copy / "siltbook" / path
    lines = file.read_text(encoding="utf-8").splitlines()
    assert lines.count(stands) == 1, f"{path} has no single line {stands!r}"
    at = lines.index(stands) + 1
    file.write_text("\n".join([*lines[:at], line, *lines[at:]]) + "\n", encoding="utf-8")


def run(copy: Path, code: str) -> str:
    environment = {**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, cwd=copy, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


START = """
import datetime as dt, openpyxl, warnings
import siltbook.templates.units as units
from siltbook.templates.blank import BlankOptions, build
assert units.__file__.startswith({copy!r}), units.__file__
def made(unit, station, inlet, outlet):
    rows = dict(Stations=[dict(station="A", block="B1", filter_type="disc", **station)], Readings=[
        dict(station="A", date=dt.date(2026, 5, 1), inlet=inlet, outlet=outlet)])
    open("book.xlsx", "wb").write(build(BlankOptions(unit), rows))
def judged():
    from click.testing import CliRunner
    from siltbook.batch.cli import main
    done = CliRunner().invoke(main, ["run", "book.xlsx"])
    assert done.exit_code == 0, done.output
    warnings.filterwarnings("ignore", message=".*extension is not supported.*")
    return openpyxl.load_workbook("book.reviewed.xlsx", data_only=True)["Station review"]
"""


def test_a_column_is_a_line_in_each_of_two_files(copy: Path) -> None:
    lines = [one for one in examples() if "pump" in one[2]]
    assert [path for path, _, _ in lines] == ["templates/contract.py", "batch/tables/stations.py"]
    for one in lines:
        add(copy, *one)
    code = START.format(copy=str(copy)) + (
        "made('bar', dict(pump='Pump 2'), 2.5, 2.3)\n"
        "rows = list(judged().iter_rows(min_row=3, max_row=4, values_only=True))\n"
        "print(dict(zip(*rows))['Pump'])\n"
    )
    assert run(copy, code) == "Pump 2\n"


@pytest.mark.at_length  # the column above is added to a copy in the same way
def test_a_unit_is_one_line(copy: Path) -> None:
    (one,) = (one for one in examples() if one[0] == "templates/units.py")
    add(copy, *one)
    file = copy / "siltbook" / "templates" / "units.py"
    file.write_text(file.read_text(encoding="utf-8").replace('"mpa", ', "", 1), encoding="utf-8")
    code = START.format(copy=str(copy)) + (
        "made('MPa', {}, 0.25, 0.23)\n"
        "stations = openpyxl.load_workbook('book.xlsx', data_only=True)['Stations']\n"
        "at = [c.value for c in stations[1]].index('Metres per unit')\n"
        "print(round(stations[2][at].value, 3))\n"
        "rows = list(judged().iter_rows(min_row=3, max_row=4, values_only=True))\n"
        "print(round(dict(zip(*rows))['Latest drop (MPa)'], 6))\n"
    )
    assert run(copy, code) == "101.972\n0.02\n"
