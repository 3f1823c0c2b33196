"""Other programs open the books, see every sheet and value, and a re-save changes no verdict.

Each is a library of its registry: calamine by pip; SheetJS, ExcelJS and HyperFormula by npm, which
`npm install --no-package-lock --prefix tests/interop` brings. Without node or them: skipped.
"""

from __future__ import annotations

import datetime as dt
import io
import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from python_calamine import CalamineWorkbook

from siltbook.batch.cli import main
from tests.interop.books import KINDS, parts, produced
from tests.office import cells_of
from tests.templates.test_blank_formulas import filled

HERE = Path(__file__).parent
# A book made from our blank has checks on 20,000 rows, which ExcelJS takes apart cell by cell.
RESAVED = (
    ("xlsx", "book"), ("xlsx", "reviewed, of another maker"),
    ("exceljs", "reviewed, of another maker"),
)  # fmt: skip


def needs(library: str) -> pytest.MarkDecorator:
    there = shutil.which("node") and (HERE / "node_modules" / library).is_dir()
    return pytest.mark.skipif(
        not there, reason=f"node or its library {library} is not installed (tests/interop)"
    )


def node(*words: object) -> Any:
    """What `programs.js` says."""
    done = subprocess.run(
        ["node", str(HERE / "programs.js"), *map(str, words)],
        capture_output=True, timeout=600, check=False, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def names(kind: str) -> list[str]:
    """The sheets of a book, as its workbook part lists them."""
    found = re.findall(r'<sheet [^>]*?name="([^"]*)"', parts(produced(kind))["xl/workbook.xml"])
    return [unescape(name) for name in found]


def plain(value: object) -> object:
    """A cell's value so that two readers can be compared."""
    if isinstance(value, dt.datetime):
        return value.date() if value.time() == dt.time() else value
    if isinstance(value, bool | str | dt.date | dt.time | dt.timedelta):
        return value
    return None if value is None else round(float(value), 9)  # type: ignore[arg-type]


@pytest.mark.at_length(drop=("audited", "merged", "seasons"))
@pytest.mark.filterwarnings("ignore:.*xtension is not supported:UserWarning")
@pytest.mark.parametrize("kind", KINDS)
def test_calamine_sees_every_sheet_and_every_stored_value(kind: str) -> None:
    read = CalamineWorkbook.from_filelike(io.BytesIO(produced(kind)))
    assert read.sheet_names == names(kind)
    book = cells_of(produced(kind), values=True)
    count = 0
    for name in read.sheet_names:
        rows = read.get_sheet_by_name(name).to_python(skip_empty_area=False)
        ours = {(c.row - 1, c.column - 1): c.value for c in book[name] if c.value != ""}
        seen = {
            (r, c): value for r, row in enumerate(rows) for c, value in enumerate(row)
            if value != ""
        }  # fmt: skip
        assert seen.keys() == ours.keys(), name
        differ = [at for at in seen if plain(seen[at]) != plain(ours[at])]
        assert not differ, (name, differ[:3], [seen[a] for a in differ[:3]])
        count += len(seen)
    assert count > 50


@pytest.mark.at_length(keep="another maker")
@needs("hyperformula")
@pytest.mark.parametrize("kind", ["blank, filled", "reviewed, of another maker"])
def test_another_engine_calculates_to_the_stored_values(kind: str, tmp_path: Path) -> None:
    data = filled() if kind == "blank, filled" else produced(kind)
    (tmp_path / "book.xlsx").write_bytes(data)
    said = node("hyperformula", tmp_path / "book.xlsx")
    assert said["formulas"] > 500
    # This engine takes the sign ~, by which a station's name A?1 means itself, for a letter, does
    # not find the station, and so says that the drop cannot be told.
    odd = [cell for cell in said["differ"] if cell[3] == "?"]
    assert said["differ"] == odd
    assert [cell[1] for cell in odd] == (["L6", "M6"] if kind == "blank, filled" else [])


def judged(data: bytes, folder: Path) -> dict[str, Any]:
    """What `run --json` says of a book, without where it lies."""
    folder.mkdir()
    (folder / "book.xlsx").write_bytes(data)
    done = CliRunner().invoke(main, ["run", str(folder / "book.xlsx"), "--json"])
    assert done.exit_code == 0, done.output
    said: dict[str, Any] = json.loads(done.stdout.replace(str(folder), ""))
    return said


@pytest.mark.at_length(keep="xlsx-reviewed")
@pytest.mark.parametrize(
    ("library", "kind"), [pytest.param(*p, marks=needs(p[0])) for p in RESAVED]
)
def test_a_resave_by_another_library_changes_no_verdict(
    library: str, kind: str, tmp_path: Path
) -> None:
    (tmp_path / "in.xlsx").write_bytes(produced(kind))
    assert node(library, tmp_path / "in.xlsx", tmp_path / "out.xlsx") == names(kind)
    again = judged((tmp_path / "out.xlsx").read_bytes(), tmp_path / "again")
    as_made = judged(produced(kind), tmp_path / "as-made")
    assert len(as_made["books"][0]["stations"]) >= 5
    assert again == as_made
