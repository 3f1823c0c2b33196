"""A workbook as PDF, by LibreOffice where it is installed."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

from batch.errors import SiltbookError, why

TIMEOUT = 180.0  # [s]; the first start of a private profile takes longest
_PROGRAMS = ("soffice", "libreoffice")


class PdfError(SiltbookError):
    """The PDF could not be made; the text is one sentence for people."""


def office() -> str | None:
    """The path of LibreOffice's program, or None where it is not installed."""
    return next((path for name in _PROGRAMS if (path := shutil.which(name))), None)


def to_pdf(xlsx: bytes, timeout: float = TIMEOUT) -> bytes | None:
    """The workbook's printed pages; None where LibreOffice is not installed.

    It runs in a folder and a profile of its own, so that an open LibreOffice is not disturbed,
    and for at most `timeout` [s]. PdfError, one sentence, where it fails.
    """
    program = office()
    if program is None:
        return None
    try:
        return _in_a_folder_of_its_own(program, xlsx, timeout)
    except OSError as error:
        raise PdfError(
            f"The PDF could not be made in the folder for temporary files ({why(error)}). "
            "Check its space and permissions, or give --no-pdf."
        ) from error


def _in_a_folder_of_its_own(program: str, xlsx: bytes, timeout: float) -> bytes:
    with tempfile.TemporaryDirectory(prefix="siltbook-pdf-", ignore_cleanup_errors=True) as name:
        folder = Path(name)
        book, made = folder / "book.xlsx", folder / "out" / "book.pdf"
        book.write_bytes(xlsx)
        said = _convert(program, folder, book, timeout)
        if not made.is_file() or not made.stat().st_size:
            raise PdfError(
                f"LibreOffice made no PDF of the workbook ({said}). "
                "Open the workbook and print it to PDF there, or give --no-pdf."
            )
        return made.read_bytes()


def _convert(program: str, folder: Path, book: Path, timeout: float) -> str:
    """Run the conversion; what LibreOffice said, in one short line. PdfError on a timeout."""
    command = [
        program, f"-env:UserInstallation={(folder / 'profile').as_uri()}", "--headless",
        "--norestore", "--convert-to", "pdf", "--outdir", str(folder / "out"), str(book),
    ]  # fmt: skip
    try:
        # A session of its own: the program is a script that starts others, which must end too.
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            cwd=folder, start_new_session=True,
        )  # fmt: skip
    except OSError as error:
        return why(error)
    try:
        output, _ = process.communicate(timeout=timeout)
    except subprocess.TimeoutExpired:
        raise PdfError(
            f"LibreOffice did not finish the PDF within {timeout:g} seconds. "
            "Try again, or give --no-pdf."
        ) from None
    finally:
        # Also after Ctrl-C, which does not reach a session of its own.
        if process.poll() is None:
            _end(process)
    words = " ".join(output.decode(errors="replace").split())
    return words[-200:] or f"it ended with code {process.returncode}"


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a conversion and whatever it started."""
    if hasattr(os, "killpg"):
        os.killpg(process.pid, signal.SIGKILL)
    else:
        process.kill()
    process.communicate()
