"""A workbook as PDF, by LibreOffice where it is installed."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

from siltbook.batch.errors import SiltbookError, why

TIMEOUT = 180.0  # [s]; the first start of a private profile takes longest
_PROGRAMS = ("soffice", "libreoffice")
# Where its installers put it on systems that do not enter it in PATH, and beside PATH on others.
_PLACES = {
    "win32": (
        r"%ProgramFiles%\LibreOffice\program",
        r"%ProgramW6432%\LibreOffice\program",
        r"%ProgramFiles(x86)%\LibreOffice\program",
    ),
    "darwin": ("/Applications/LibreOffice.app/Contents/MacOS",),
}
_ENDINGS = {"win32": (".exe",)}


class PdfError(SiltbookError):
    """The PDF could not be made; the text is one sentence for people."""


def office(system: str = sys.platform) -> str | None:
    """The absolute path of LibreOffice's program, or None where it is not installed.

    It is looked for in the absolute entries of PATH and where its installers put it, never in the
    current folder or in a place that depends on it: what lies there is anybody's.
    """
    return _program(_PROGRAMS, _ENDINGS.get(system, ("",)), system)


def beside_office(name: str, system: str = sys.platform) -> str | None:
    """The absolute path of another of LibreOffice's programs, looked for in the same places."""
    endings = (".com", ".exe") if system == "win32" else ("",)  # .com: the one for a console
    found, main = _program((name,), endings, system), office(system)
    if found is None and main is not None:  # in PATH stands but a link to the one beside it
        real = os.path.join(os.path.dirname(os.path.realpath(main)), name)
        found = real if os.path.isfile(real) and os.access(real, os.X_OK) else None
    return found


def _program(names: tuple[str, ...], endings: tuple[str, ...], system: str) -> str | None:
    here = os.path.realpath(os.curdir)
    entries = os.environ.get("PATH", "").split(os.pathsep)
    places = [*entries, *map(_expanded, _PLACES.get(system, ()))]
    for place in places:
        if not os.path.isabs(place) or os.path.realpath(place) == here:
            continue
        for name in names:
            for ending in endings:
                path = os.path.join(place, name + ending)
                if os.path.isfile(path) and os.access(path, os.X_OK):
                    return path
    return None


def _expanded(place: str) -> str:
    """A place with the system's own folder for programs in it."""
    name, _, rest = place[1:].partition("%") if place.startswith("%") else ("", "", place)
    return f"{os.environ.get(name, '')}{rest}" if name else place


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
        pdf = made.read_bytes() if made.is_file() else b""
        if not (pdf.startswith(b"%PDF") and b"%%EOF" in pdf[-1024:]):  # whole, or it broke off
            raise PdfError(
                f"LibreOffice made no PDF of the workbook ({said}). "
                "Open the workbook and print it to PDF there, or give --no-pdf."
            )
        return pdf


def _convert(program: str, folder: Path, book: Path, timeout: float) -> str:
    """Run the conversion; what LibreOffice said, or how it ended, in one short line.

    PdfError where it cannot be started or takes too long.
    """
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
        raise PdfError(
            f"LibreOffice could not be started ({program}: {why(error)}). "
            "Check its installation, or give --no-pdf."
        ) from error
    told = _Tail(process)
    try:
        code = process.wait(timeout)
    except subprocess.TimeoutExpired:
        raise PdfError(
            f"LibreOffice did not finish the PDF within {timeout:g} seconds. "
            "Try again, or give --no-pdf."
        ) from None
    finally:
        # Also after Ctrl-C, which does not reach a session of its own, and where the program is
        # gone and what it started is not.
        _end(process)
        told.close()
    how = f"it ended with code {code}" if code >= 0 else f"signal {-code} ended it"
    return told.words or how


class _Tail:
    """The last of what a process prints, read as it comes: it may print without end."""

    KEPT = 4096  # [bytes]

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._stream = process.stdout
        self._kept = b""
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._stream is not None
        while piece := os.read(self._stream.fileno(), self.KEPT):
            self._kept = (self._kept + piece)[-self.KEPT :]

    def close(self) -> None:
        """Wait for the end of the output; what holds it has been ended."""
        self._reader.join(timeout=5)
        if self._stream is not None and not self._reader.is_alive():
            self._stream.close()

    @property
    def words(self) -> str:
        """The last 200 characters on one line."""
        return " ".join(self._kept.decode(errors="replace").split())[-200:]


def _end(process: subprocess.Popen[bytes]) -> None:
    """End a conversion and whatever it started, where any of it is still there."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            _end_tree(process)
    process.wait()


def _end_tree(process: subprocess.Popen[bytes]) -> None:
    """The same on a system without groups of processes, where children outlive their parent."""
    import psutil

    with contextlib.suppress(psutil.Error):
        for started in psutil.Process(process.pid).children(recursive=True):
            with contextlib.suppress(psutil.Error):
                started.kill()
    process.kill()
