"""How fast and how lean: whole processes beside the least that the same work can cost.

`python -m tests.benchmarks.speed` makes its own books, runs everything in processes of their own
and prints the table that docs/performance.md shows. It asserts nothing: a busy machine is no
fault of the code. Ratios are of processor time, which other programs disturb least.
"""

from __future__ import annotations

import datetime as dt
import os
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from siltbook.templates.blank import BlankOptions, build
from siltbook.templates.contract import RESULT_SHEETS
from tests.graft.packs import sheet_part

# Both sides run as a person has them installed: these two come with the extra 'test' only, and
# pandera and pint import them where they are found.
_PLAIN = "import sys; sys.modules.update(dict.fromkeys(('hypothesis', 'dask')));"
_RUN = f"{_PLAIN} from siltbook.batch.cli import main; main()"
# Ends with 0 also where the audit found something to look at.
_AUDIT = f"""
{_PLAIN}
from siltbook.batch.cli import main
try:
    main()
except SystemExit as done:
    sys.exit(0 if done.code in (0, 1) else done.code)
"""
_COMPILED = tempfile.TemporaryDirectory()
_MAKE = """
import sys
from pathlib import Path
from tests.benchmarks import speed
getattr(speed, sys.argv[4])(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
"""
_OPENPYXL = """
import sys, openpyxl
openpyxl.load_workbook(sys.argv[1]).save(sys.argv[2])
"""
# The least that a program with these libraries can do: read every cell, write as many as we do.
_FLOOR = f"""
{_PLAIN}
import lxml.etree, pandas, pandera.pandas, pint, xlsxwriter
from python_calamine import CalamineWorkbook
book = CalamineWorkbook.from_path(sys.argv[1])
for name in book.sheet_names:
    book.get_sheet_by_name(name).to_python()
with xlsxwriter.Workbook(sys.argv[2], {{"in_memory": True}}) as out:
    sheet = out.add_worksheet()
    for i in range(int(sys.argv[3])):
        sheet.write_number(i // 19, i % 19, i / 7)
"""


@dataclass(frozen=True)
class Cost:
    """What one process took."""

    wall: float  # [s]
    cpu: float  # [s], user and system together
    peak: float  # [MB], resident

    def __str__(self) -> str:
        return f"{self.cpu:.2f} s processor, {self.wall:.2f} s clock, {self.peak:.0f} MB"


def cost(code: str, *arguments: str, times: int = 1) -> Cost:
    """The cheapest of `times` runs of a Python program; CalledProcessError where one fails."""
    return min((_once([sys.executable, "-c", code, *arguments]) for _ in range(times)), key=_cpu)


def _cpu(one: Cost) -> float:
    return one.cpu


@cache
def _environment() -> dict[str, str]:
    """Compiled modules are kept, as an installation keeps them, whatever this process is told."""
    kept = {**os.environ, "PYTHONPYCACHEPREFIX": str(_COMPILED.name)}
    kept.pop("PYTHONDONTWRITEBYTECODE", None)
    return kept


def _once(command: list[str]) -> Cost:
    begin = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, env=_environment())
    _, status, usage = os.wait4(process.pid, 0)
    wall = time.perf_counter() - begin
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise subprocess.CalledProcessError(process.returncode, command[:2])
    return Cost(wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def make_book(path: Path, readings: int, stations: int) -> None:
    """An invented book: every station's drop climbs from 1 m to 5 m in 40 readings, then falls."""
    names = [f"N{i:03d}" for i in range(stations)]
    register = [
        {
            "station": name, "clean_drop": 1.0, "gauges": "one gauge", "gauge_class": 1.6,
            "full_scale": 6.0, "division": 0.05, "reference_flow": 40.0,
        }
        for name in names
    ]  # fmt: skip
    rounds = readings // stations
    first = dt.date(2026, 1, 1)
    rows = [
        {
            "station": name, "date": first + dt.timedelta(days=i * 360 // rounds),
            "time": dt.time(i % 24), "inlet": 3.2, "outlet": round(3.1 - i % 40 * 0.01, 3),
            "flow": 40.0, "occasion": "routine", "read_by": "A",
        }
        for i in range(rounds)
        for name in names
    ]  # fmt: skip
    sheets = {"Stations": register, "Readings": rows}
    path.write_bytes(build(BlankOptions(farm="Invented"), sheets))


def make_lean(path: Path, readings: int, stations: int) -> None:
    """The same climb in a book of bare lists: six columns of readings, names for a register."""
    import xlsxwriter

    rounds = readings // stations
    first = dt.date(2026, 1, 1)
    with xlsxwriter.Workbook(path, {"in_memory": True}) as out:
        day = out.add_format({"num_format": "yyyy-mm-dd"})
        clock = out.add_format({"num_format": "hh:mm"})
        register, sheet = out.add_worksheet("Stations"), out.add_worksheet("Readings")
        register.write_column(0, 0, ["Station", *(f"N{i:03d}" for i in range(stations))])
        heads = ("Station", "Date", "Time", "Inlet pressure", "Outlet pressure", "Flow")
        sheet.write_row(0, 0, heads)
        for at in range(rounds * stations):
            i, n = divmod(at, stations)
            sheet.write_string(at + 1, 0, f"N{n:03d}")
            sheet.write_datetime(at + 1, 1, first + dt.timedelta(days=i * 360 // rounds), day)
            sheet.write_datetime(at + 1, 2, dt.time(i % 24), clock)
            outlet = round(3.1 - i % 40 * 0.01, 3)
            sheet.write_row(at + 1, 3, (3.2, outlet, 40.0))


def _made(path: Path, readings: int, stations: int, maker: str = "make_book") -> Path:
    # In a process of its own: a child's peak counts what its parent held when it was started.
    cost(_MAKE, str(path), str(readings), str(stations), maker)
    return path


def result_cells(reviewed: Path) -> int:
    """Cells of the result sheets in a reviewed book."""
    ours = [sheet_part(reviewed.read_bytes(), name) for name in RESULT_SHEETS]
    with zipfile.ZipFile(reviewed) as package:
        return sum(package.read(part).count(b"<c ") for part in ours)


def _season(folder: Path) -> Iterator[str]:
    book = _made(folder / "season.xlsx", 2_500, 12)
    ours = cost(_RUN, "run", str(book), times=3)
    cells = result_cells(folder / "season.reviewed.xlsx")
    floor = cost(_FLOOR, str(book), str(folder / "floor.xlsx"), str(cells), times=3)
    yield f"Season book, 2,500 readings, {cells:,} result cells"
    yield from _beside(ours, "the floor", floor, aim=1.5)


def _large(folder: Path) -> Iterator[str]:
    book = _made(folder / "large.xlsx", 100_000, 100)
    ours = cost(_RUN, "run", str(book))
    theirs = cost(_OPENPYXL, str(book), str(folder / "copy.xlsx"))
    yield "Large book, 100,000 readings, 100 stations"
    yield from _beside(ours, "openpyxl load and save", theirs, aim=1.0)
    yield f"   memory ratio {ours.peak / theirs.peak:.2f} (aim: at most 1.00)"
    tenth = cost(_RUN, "run", str(_made(folder / "tenth.xlsx", 10_000, 100)))
    yield "Growth from 10,000 to 100,000 readings"
    yield f"   10,000: {tenth}"
    yield f"   ratio {ours.cpu / tenth.cpu:.2f} (aim: at most 11)"


def _lean(folder: Path) -> Iterator[str]:
    book = _made(folder / "lean.xlsx", 100_000, 200, "make_lean")
    ours = cost(_RUN, "run", str(book))
    theirs = cost(_OPENPYXL, str(book), str(folder / "lean-copy.xlsx"))
    yield "Lean book, 100,000 readings of six columns, 200 stations"
    yield from _beside(ours, "openpyxl load and save", theirs, aim=1.0)


def _wide(folder: Path) -> Iterator[str]:
    book = str(_made(folder / "wide.xlsx", 100_000, 10_000))
    ours = cost(_RUN, "run", book)
    yield "10,000 stations of 10 readings each"
    yield f"   siltbook: {ours} (aim: at most 10 s clock)"
    audit = cost(_AUDIT, "audit", book)
    yield f"   audit: {audit}, {audit.cpu / ours.cpu:.2f} times its run (aim: at most 3.00)"


def _folder(folder: Path) -> Iterator[str]:
    book = _made(folder / "month.xlsx", 400, 8).read_bytes()
    few, many = folder / "few", folder / "many"
    for inside, count in ((few, 50), (many, 200)):
        inside.mkdir()
        for i in range(count):
            (inside / f"book{i:03d}.xlsx").write_bytes(book)
    one = cost(_RUN, "run", str(many), "--out", str(folder / "one"))
    two = cost(_RUN, "run", str(many), "--out", str(folder / "two"), "--jobs", "2")
    less = cost(_RUN, "run", str(few), "--out", str(folder / "less"))
    yield "Folder of 200 books, 400 readings of 8 stations each"
    yield f"   one worker: {one}"
    yield f"   --jobs 2: {two}"
    yield f"   clock ratio {one.wall / two.wall:.2f} (aim: at least 1.70)"
    yield f"   50 books, one worker: {less}"
    yield f"   memory of 200 books to 50: {one.peak / less.peak:.2f} (flat: 1.00)"


def _help() -> Iterator[str]:
    ours, click = cost(_RUN, "--help", times=7), cost("import click", times=7)
    yield "`siltbook --help`"
    yield from _beside(ours, "`import click`", click, aim=None)


def _beside(ours: Cost, name: str, theirs: Cost, aim: float | None) -> Iterator[str]:
    wanted = "" if aim is None else f" (aim: at most {aim:.2f})"
    yield f"   siltbook: {ours}"
    yield f"   {name}: {theirs}"
    yield f"   ratio {ours.cpu / theirs.cpu:.2f}{wanted}"


def main() -> None:
    """Measure everything and print it."""
    with tempfile.TemporaryDirectory() as name:
        at = Path(name)
        for part in (_season(at), _large(at), _lean(at), _wide(at), _folder(at), _help()):
            for line in part:
                print(line, flush=True)


if __name__ == "__main__":
    main()
