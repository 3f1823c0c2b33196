"""LibreOffice, headless, for tests: convert a book and recalculate every formula in it."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from tests.amount import whole

needs_office = pytest.mark.skipif(
    shutil.which("soffice") is None, reason="LibreOffice is not installed"
)

_ALWAYS_RECALCULATE = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load">
<prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>
"""


def convert(book: Path, folder: Path, to: str = "xlsx", recalculate: bool = False) -> Path:
    """`book` re-saved by LibreOffice as `to` into a folder of its own under `folder`."""
    return convert_all([book], folder, to, recalculate)[0]


def convert_all(
    books: Sequence[Path], folder: Path, to: str = "xlsx", recalculate: bool = False,
    profile: Path | None = None,
) -> list[Path]:  # fmt: skip
    """Several books, of different names, by one start of the program.

    `profile` keeps its settings from start to start; a first start takes a second longer.
    """
    profile, out = profile or folder / "profile", folder / f"out-{to}"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    if recalculate:
        (profile / "user" / "registrymodifications.xcu").write_text(_ALWAYS_RECALCULATE)
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", to,
         "--outdir", str(out), *map(str, books)],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    return [out / f"{book.stem}.{to}" for book in books]


def cells(book: bytes, sheet: str, *, values: bool) -> dict[str, Any]:
    """What the cells of one sheet hold, as openpyxl reads them: stored values, or formulas."""
    read = cells_of(book, (sheet,), values=values)[sheet]
    return {cell.coordinate: cell.value for cell in read}


def cells_of(book: bytes, sheets: Iterable[str] = (), *, values: bool) -> dict[str, list[Any]]:
    """The filled cells of these sheets, or of all, and nothing else of the book: far sooner read.

    openpyxl says that it drops extensions, which a reader may.
    """
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", ".* extension is not supported", UserWarning)
        opened = openpyxl.load_workbook(BytesIO(book), read_only=True, data_only=values)
        found = {}
        for name in tuple(sheets) or opened.sheetnames:
            page = opened[name]
            page.reset_dimensions()
            found[name] = [c for row in page.iter_rows() for c in row if c.value is not None]
    return found


class Shared:
    """Books as LibreOffice re-saves them, each made once: for every test and process of a run.

    A start of the program costs more than a book, so tests give all that they want at once.
    """

    def __init__(
        self, folder: Path, together: dict[str, Callable[[], list[bytes]]] | None = None
    ) -> None:
        """`together`, by the format: what is re-saved as soon as any is, since tests will ask."""
        self.folder, self.together = folder, {**(together or {})}
        folder.mkdir(exist_ok=True)

    def resaved(self, *books: bytes, to: str = "xlsx", recalculate: bool = False) -> list[bytes]:
        """The .xlsx books in the order given, in the format `to`."""
        way = f"{'anew' if recalculate else 'kept'}-{to}"
        if not recalculate and (wanted := self.together.pop(to, None)):
            self.resaved(*books, *wanted(), to=to)
        places = {book: self.folder / f"{hashlib.sha256(book).hexdigest()}-{way}" for book in books}
        with ExitStack() as locks:
            for place in sorted(places.values()):
                locks.enter_context(_alone(place.with_suffix(".lock")))
            missing = {book: place for book, place in places.items() if not place.exists()}
            if missing:
                self._make(missing, to, recalculate)
        return [places[book].read_bytes() for book in books]

    def _make(self, wanted: dict[bytes, Path], to: str, recalculate: bool) -> None:
        with tempfile.TemporaryDirectory(dir=self.folder) as name:
            sources = [Path(name) / f"{place.name}.xlsx" for place in wanted.values()]
            for source, book in zip(sources, wanted, strict=True):
                source.write_bytes(book)
            # One for each process and way: two starts at once cannot share it.
            own = self.folder / f"profile-{os.getpid()}{'-anew' if recalculate else ''}"
            made = convert_all(sources, Path(name), to, recalculate, own)
            for path, place in zip(made, wanted.values(), strict=True):
                path.replace(place)


@contextmanager
def _alone(lock: Path) -> Iterator[None]:
    """One process at a time; without such locks (Windows) two may make the same, which is as good.

    The system lets the lock go when its process ends, however it ends.
    """
    with lock.open("w") as file:
        if sys.platform != "win32":
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def in_one_run(base: Path) -> Shared:
    """What the processes of one run share, by the folder that pytest gives each of them."""
    from tests.resaved import TOGETHER

    folder = (base.parent if "PYTEST_XDIST_WORKER" in os.environ else base) / "resaved"
    return Shared(folder, None if whole() else TOGETHER)
