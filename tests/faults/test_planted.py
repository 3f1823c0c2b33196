"""Modules and programs that lie in the current folder are never run, by no process of ours."""

from __future__ import annotations

import json
import multiprocessing
import os
import subprocess
import sys
from pathlib import Path

import pytest

from siltbook.batch import pdf
from siltbook.batch.child import safe_workers
from tests.faults.support import small_book
from tests.reading.test_other_formats import other

# The command as its installed script starts it: the first place to import from is its own folder.
SCRIPT = "from siltbook.batch.cli import main\nif __name__ == '__main__':\n    main()\n"
# What both kinds of children import: one reads an .xls and places results, one is a worker.
IMPORTED = """
import json, multiprocessing.spawn, multiprocessing.resource_tracker, sys
from pathlib import Path
from siltbook.batch import child, many
from siltbook.batch.reading import oldbook
child._inside = True
book = Path(sys.argv[1])
judged = many.judge(many.Job(book.read_bytes(), str(book), book.name, "out.xlsx", None))
assert not judged.failure, judged.failure
print(json.dumps(sorted({name.partition(".")[0] for name in sys.modules})))
"""
PLANTED = "open({mark!r}, 'a').write(__name__ + chr(10))\n"


@pytest.fixture(scope="module")
def names(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Every module that a child imports."""
    folder = tmp_path_factory.mktemp("imported")
    (folder / "old.xls").write_bytes(other("xls"))
    done = subprocess.run(
        [sys.executable, "-I", "-c", IMPORTED, folder / "old.xls"],
        capture_output=True, text=True, check=True, cwd=folder,
    )  # fmt: skip
    found: list[str] = json.loads(done.stdout)
    assert {"siltbook", "xlrd", "zipfile", "multiprocessing", "pandas"} <= set(found)
    return found


@pytest.fixture
def trap(tmp_path: Path, names: list[str]) -> Path:
    """A folder with books, and a module beside them for everything that a child imports."""
    folder = tmp_path / "trap"
    folder.mkdir()
    (folder / "old.xls").write_bytes(other("xls"))
    for name in ("one", "two"):
        (folder / f"{name}.xlsx").write_bytes(small_book(tmp_path))
    planted = PLANTED.format(mark=str(tmp_path / "executed"))
    for name in [*names, "psutil", "sitecustomize", "usercustomize"]:
        (folder / f"{name}.py").write_text(planted)
    for name in ("batch", "checks", "templates", "siltbook"):
        (folder / name).mkdir()
        (folder / name / "__init__.py").write_text(planted)
    return folder


@pytest.mark.at_length(keep="one after")  # workers: the next test
@pytest.mark.parametrize("more", [(), ("--jobs", "2")], ids=["one after the other", "workers"])
def test_no_child_imports_what_lies_beside_the_books(
    trap: Path, tmp_path: Path, more: tuple[str, ...]
) -> None:
    script = tmp_path / "bin" / "start_it.py"
    script.parent.mkdir()
    script.write_text(SCRIPT)
    done = subprocess.run(
        [sys.executable, script, "run", "old.xls", "one.xlsx", "two.xlsx", *more],
        cwd=trap, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("Result: ") == 3
    assert not (tmp_path / "executed").exists(), (tmp_path / "executed").read_text()


@pytest.mark.parametrize("method", multiprocessing.get_all_start_methods())
def test_workers_are_safe_whatever_the_start_method(method: str, trap: Path) -> None:
    script = trap.parent / "start_it.py"
    script.write_text(
        "import multiprocessing\n"
        "from siltbook.batch.child import safe_workers\n"
        "def nothing():\n    pass\n"
        "if __name__ == '__main__':\n"
        "    with safe_workers():\n"
        f"        worker = multiprocessing.get_context({method!r}).Process(target=nothing)\n"
        "        worker.start()\n        worker.join()\n"
        "        print(worker.exitcode)\n"
    )
    done = subprocess.run(
        [sys.executable, script], cwd=trap, capture_output=True, text=True, check=True
    )
    assert done.stdout == "0\n"
    assert not (trap.parent / "executed").exists()


def test_the_environment_is_as_it_was_afterwards(monkeypatch: pytest.MonkeyPatch) -> None:
    for before in (None, "", "1"):
        if before is None:
            monkeypatch.delenv("PYTHONSAFEPATH", raising=False)
        else:
            monkeypatch.setenv("PYTHONSAFEPATH", before)
        with safe_workers():
            assert os.environ["PYTHONSAFEPATH"] == "1"
        assert os.environ.get("PYTHONSAFEPATH") == before


def a_program(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("#!/bin/sh\n")
    path.chmod(0o755)
    return path


def test_the_program_for_the_pdf_is_never_taken_from_the_current_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    a_program(tmp_path / "soffice")
    a_program(tmp_path / "bin" / "soffice")
    monkeypatch.chdir(tmp_path)
    entries = ["", ".", "bin", "./bin", str(tmp_path)]
    monkeypatch.setenv("PATH", os.pathsep.join(entries))
    assert pdf.office() is None
    real = a_program(tmp_path / "absolute" / "libreoffice")
    monkeypatch.setenv("PATH", os.pathsep.join([*entries, str(real.parent)]))
    assert pdf.office() == str(real)


def test_the_program_is_found_where_its_installer_put_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setenv("ProgramFiles", str(tmp_path))
    found = a_program(tmp_path / "LibreOffice" / "program" / "soffice.exe")
    monkeypatch.setitem(pdf._PLACES, "win32", ("%ProgramFiles%/LibreOffice/program",))
    assert pdf.office("win32") == str(found)
    place = a_program(tmp_path / "LibreOffice.app" / "soffice").parent
    monkeypatch.setitem(pdf._PLACES, "darwin", (str(place),))
    assert pdf.office("darwin") == str(place / "soffice")
