"""A workbook as PDF: absent, failing and slow programs each have one outcome."""

from __future__ import annotations

import io
import os
import time
from pathlib import Path

import pytest
import xlsxwriter

from batch.pdf import PdfError, office, to_pdf
from tests.office import needs_office

needs_scripts = pytest.mark.skipif(os.name != "posix", reason="needs a shell script")


def workbook() -> bytes:
    target = io.BytesIO()
    with xlsxwriter.Workbook(target, {"in_memory": True}) as made:
        made.add_worksheet("A").write_string(0, 0, "hello")
    return target.getvalue()


def pretend(folder: Path, monkeypatch: pytest.MonkeyPatch, script: str) -> None:
    """Put a script in LibreOffice's place."""
    program = folder / "soffice"
    program.write_text(f"#!/bin/sh\n{script}\n")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}:/usr/bin:/bin", prepend=None)


@needs_office
def test_a_workbook_becomes_a_pdf() -> None:
    made = to_pdf(workbook())
    assert made is not None
    assert made.startswith(b"%PDF")


def test_none_where_libreoffice_is_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert office() is None
    assert to_pdf(workbook()) is None


@needs_scripts
def test_a_failure_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend(tmp_path, monkeypatch, "echo 'no display'; exit 1")
    with pytest.raises(PdfError) as caught:
        to_pdf(workbook())
    assert str(caught.value) == (
        "LibreOffice made no PDF of the workbook (no display). Open the workbook and print it to "
        "PDF there, or give --no-pdf."
    )


@needs_scripts
def test_a_program_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend(tmp_path, monkeypatch, "sleep 60 & wait")
    begun = time.monotonic()
    with pytest.raises(PdfError, match="did not finish the PDF within 1 seconds"):
        to_pdf(workbook(), timeout=1)
    assert time.monotonic() - begun < 20
