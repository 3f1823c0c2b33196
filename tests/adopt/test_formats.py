"""The same table as .xlsx, .ods, .xls and .xlsm: the same readings."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from sample_workbooks.as_kept import Style, as_xlsx
from siltbook.batch.adopt.job import Source, look
from tests.adopt.farms import kept

OFFICE = shutil.which("soffice")


@pytest.mark.skipif(OFFICE is None, reason="LibreOffice is not installed")
@pytest.mark.parametrize("ending", ["ods", "xls"])
@pytest.mark.parametrize("layout", ["wide two headers", "sheet per station"])
def test_other_formats_give_the_same_readings(tmp_path: Path, ending: str, layout: str) -> None:
    data = as_xlsx(kept(Style(layout, title=True, junk=True)))
    source = tmp_path / "own.xlsx"
    source.write_bytes(data)
    subprocess.run(
        [str(OFFICE), f"-env:UserInstallation=file://{tmp_path}/profile", "--headless",
         "--convert-to", ending, "--outdir", str(tmp_path), str(source)],
        check=True, capture_output=True, timeout=600,
    )  # fmt: skip
    made = tmp_path / f"own.{ending}"
    first = look([Source(source, data)])
    second = look([Source(made, made.read_bytes())])
    keys = ("station", "date", "inlet", "outlet", "remark")
    told = [[{k: r.get(k) for k in keys} for r in one.rows.readings] for one in (first, second)]
    assert len(told[0]) == 15
    assert told[0] == told[1]
    assert second.asked == []


def test_a_book_with_macros_is_read_as_any_other() -> None:
    seen = look([Source(Path("own.xlsm"), as_xlsx(kept(Style())))])
    assert len(seen.rows.readings) == 15
