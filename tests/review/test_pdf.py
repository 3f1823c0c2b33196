"""A workbook as PDF: absent, failing and slow programs each have one outcome."""

from __future__ import annotations

import errno
import io
import os
import signal
import tempfile
import time
import tracemalloc
from pathlib import Path

import pytest
import xlsxwriter

from siltbook.batch.pdf import PdfError, office, to_pdf
from siltbook.batch.review.minutes import read_pack
from tests.faults.support import start
from tests.office import needs_office
from tests.review.farms import book

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


@pytest.mark.at_length  # test_commands.py makes one by the command
@needs_office
def test_a_workbook_becomes_a_pdf() -> None:
    made = to_pdf(workbook())
    assert made is not None
    assert made.startswith(b"%PDF")


def test_none_where_libreoffice_is_absent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    assert office() is None
    assert to_pdf(workbook()) is None


INSTEAD = "Open the workbook and print it to PDF there, or give --no-pdf."
NONE = "LibreOffice made no PDF of the workbook"
# The last argument but one is where the program puts the PDF.
PUT = 'for out; do [ "$last" = --outdir ] && break; last=$out; done; mkdir -p "$out"; '
WHOLE = PUT + "printf '%%PDF-1.6 x %%%%EOF\\n' > \"$out/book.pdf\"; "


@needs_scripts
@pytest.mark.parametrize(
    ("script", "said"),
    [
        ("echo 'no display'; exit 1", "no display"),
        ("echo 'on stderr' >&2; exit 1", "on stderr"),
        ("exit 0", "it ended with code 0"),
        ("exit 77", "it ended with code 77"),
        ("kill -SEGV $$", "signal 11 ended it"),
        (PUT + "printf '%%PDF-1.6 half' > \"$out/book.pdf\"; echo broke off", "broke off"),
        (PUT + 'echo no pdf > "$out/book.pdf"; echo nonsense', "nonsense"),
        (PUT + 'mkdir "$out/book.pdf"; echo a folder', "a folder"),
        (r"printf 'bell \007 \377\n\nlines'; exit 1", "bell \x07 \ufffd lines"),
    ],
)
def test_a_failure_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, script: str, said: str
) -> None:
    pretend(tmp_path, monkeypatch, script)
    with pytest.raises(PdfError) as caught:
        to_pdf(workbook())
    assert str(caught.value) == f"{NONE} ({said}). {INSTEAD}"


@needs_scripts
def test_a_whole_pdf_is_taken_whatever_the_program_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(tmp_path, monkeypatch, WHOLE + "echo a warning >&2; exit 1")
    assert to_pdf(workbook()) == b"%PDF-1.6 x %%EOF\n"


@needs_scripts
def test_a_program_that_prints_without_end_costs_no_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(tmp_path, monkeypatch, "head -c 40000000 /dev/zero | tr '\\0' x; exit 1")
    tracemalloc.start()
    with pytest.raises(PdfError) as caught:
        to_pdf(workbook())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert str(caught.value) == f"{NONE} ({'x' * 200}). {INSTEAD}"
    assert peak < 4 * 2**20


@needs_scripts
def test_a_program_that_hangs_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend(tmp_path, monkeypatch, f"sleep 60 & echo $! > {tmp_path}/pid; wait")
    with pytest.raises(PdfError, match="did not finish the PDF within 1 seconds"):
        to_pdf(workbook(), timeout=1)
    assert is_gone(tmp_path / "pid")


@needs_scripts
def test_what_a_program_leaves_behind_is_ended_and_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(tmp_path, monkeypatch, f"sleep 60 & echo $! > {tmp_path}/pid; {WHOLE}")
    assert to_pdf(workbook())
    assert is_gone(tmp_path / "pid")


def is_gone(pid: Path) -> bool:
    """Whether the process with the number in a file has ended; a moment is given to it."""
    for _ in range(2_000):
        try:
            os.kill(int(pid.read_text()), 0)
        except ProcessLookupError:
            return True
        if _is_zombie(int(pid.read_text())):
            return True
        time.sleep(0.05)
    return False


def _is_zombie(pid: int) -> bool:
    """Ended, and not yet taken note of by whoever is its parent now."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return False


@needs_scripts
def test_a_program_that_cannot_be_started(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pretend(tmp_path, monkeypatch, "")
    (tmp_path / "soffice").write_bytes(b"\x7fELF no program")
    with pytest.raises(PdfError) as caught:
        to_pdf(workbook())
    assert str(caught.value) == (
        f"LibreOffice could not be started ({tmp_path}/soffice: Exec format error). Check its "
        "installation, or give --no-pdf."
    )


@needs_scripts
def test_a_full_folder_for_temporary_files_is_said_and_nothing_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pretend(tmp_path, monkeypatch, WHOLE)
    full = tmp_path / "temporary"
    full.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(full))

    def no_space(path: Path, data: bytes) -> int:
        path.touch()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(Path, "write_bytes", no_space)
    with pytest.raises(PdfError) as caught:
        to_pdf(workbook())
    assert str(caught.value) == (
        "The PDF could not be made in the folder for temporary files (No space left on device). "
        "Check its space and permissions, or give --no-pdf."
    )
    assert list(full.iterdir()) == []


@pytest.mark.at_length(keep="False")
@needs_scripts
@pytest.mark.parametrize("whole_group", [False, True])
def test_ctrl_c_ends_the_program_and_leaves_a_whole_pack(tmp_path: Path, whole_group: bool) -> None:
    """A terminal sends it to the group, another program perhaps to siltbook alone."""
    for name in ("bin", "temporary", "books"):
        (tmp_path / name).mkdir()
    (tmp_path / "books" / "south-2026.xlsx").write_bytes(book("south"))
    program = tmp_path / "bin" / "soffice"
    program.write_text(f"#!/bin/sh\nsleep 60 & echo $! > {tmp_path}/pid.new\n"
                       f"mv {tmp_path}/pid.new {tmp_path}/pid; wait\n")  # fmt: skip
    program.chmod(0o755)
    run = start(
        "review", tmp_path / "books", "--month", "2026-07", really=whole_group,
        start_new_session=True,
        env={**os.environ, "PATH": f"{tmp_path}/bin:/usr/bin:/bin",
             "TMPDIR": str(tmp_path / "temporary")},
    )  # fmt: skip
    for _ in range(12_000):
        if (tmp_path / "pid").exists():
            break
        time.sleep(0.05)
    if whole_group:
        os.killpg(run.pid, signal.SIGINT)
    else:
        run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=600)
    assert run.returncode == 130
    assert said == "siltbook: stopped by Ctrl-C; what was written is whole.\n"
    assert is_gone(tmp_path / "pid")
    assert list((tmp_path / "temporary").iterdir()) == []
    left = {p.name: p.read_bytes() for p in (tmp_path / "books").iterdir()}
    pack = left.pop("books.review-2026-07.xlsx")
    assert read_pack(pack, "pack.xlsx").books[0].file == "south-2026.xlsx"
    assert left == {"south-2026.xlsx": book("south")}
