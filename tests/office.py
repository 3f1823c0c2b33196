"""LibreOffice, headless, for tests: convert a book and recalculate every formula in it."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest

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
    books: Sequence[Path], folder: Path, to: str = "xlsx", recalculate: bool = False
) -> list[Path]:
    """Several books, of different names, by one start of the program."""
    profile, out = folder / "profile", folder / f"out-{to}"
    (profile / "user").mkdir(parents=True, exist_ok=True)
    if recalculate:
        (profile / "user" / "registrymodifications.xcu").write_text(_ALWAYS_RECALCULATE)
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{profile}", "--headless", "--convert-to", to,
         "--outdir", str(out), *map(str, books)],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    return [out / f"{book.stem}.{to}" for book in books]
