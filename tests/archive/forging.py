"""What a stranger does to an archive before handing it on, and a child that is measured."""

from __future__ import annotations

import contextlib
import functools
import io
import json
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

from siltbook.batch.archive import manifest, rebuild, standard
from siltbook.batch.archive.folder import PACKAGE
from siltbook.batch.child import peak_memory
from siltbook.batch.cli import main as siltbook
from siltbook.batch.fingerprint import digest
from tests.warm import process


def reseal(archive: Path, **changed: Any) -> None:
    """Make the manifest anew so that it fits whatever the files are now."""
    listed = manifest.read((archive / manifest.NAME).read_bytes())
    there = [p for p in archive.rglob("*") if p.is_file() and not p.is_symlink()]
    names = sorted(p.relative_to(archive).as_posix() for p in there)
    files = {n: digest((archive / n).read_bytes()) for n in names if n != manifest.NAME}
    made = {"version": listed.version, "book": listed.book, "as_of": listed.as_of, "files": files}
    (archive / manifest.NAME).write_bytes(manifest.write(manifest.Manifest(**{**made, **changed})))


def redescribe(archive: Path, change: Callable[[dict[str, Any]], object] = lambda _: None) -> None:
    """Make descriptor and manifest anew so that they fit the tables; `change` goes further."""
    path = archive / PACKAGE
    document = json.loads(path.read_bytes())
    for table in document["resources"]:
        data = (archive / table["path"]).read_bytes()
        table["bytes"], table["hash"] = len(data), f"sha256:{digest(data)}"
    change(document)
    path.write_text(json.dumps(document, indent=2, sort_keys=True))
    reseal(archive)


@dataclass(frozen=True)
class Measured:
    """How a child ended, what it said, and what it took: memory [bytes], processor time [s]."""

    code: int
    said: str
    refused: str
    peak: int
    seconds: float


def measured(*commands: tuple[object, ...], anew: int) -> list[Measured]:
    """Runs of `siltbook`, one after the other, in a process of its own with a limit of memory.

    The first of them (`anew`) judge each book, and check each table by the standard's library,
    whenever they are asked; the others each book and table once.
    An exception ends the test.
    """
    run = process(
        f"{__name__}:main", str(anew), json.dumps([[str(a) for a in c] for c in commands]),
        text=True, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    out, err = run.communicate(timeout=900)
    assert run.returncode == 0, err
    return [Measured(**json.loads(line)) for line in out.splitlines()]


def once(said: Callable[..., Iterator[str]]) -> Callable[..., Iterator[str]]:
    """What is said of the same arguments is remembered."""
    known: dict[str, list[str]] = {}

    def again(*given: Any) -> Iterator[str]:
        key = digest(repr(given).encode())
        if key not in known:
            known[key] = list(said(*given))
        return iter(known[key])

    return again


def main() -> None:
    """What `measured` asks for."""
    resource.setrlimit(resource.RLIMIT_AS, (2 * 2**30, 2 * 2**30))
    for number, arguments in enumerate(json.loads(sys.argv[2])):
        if number == int(sys.argv[1]):
            rebuild.season = functools.cache(rebuild.season)
            standard._by_library = once(standard._by_library)
        Path("/proc/self/clear_refs").write_text("5")
        said, refused = io.StringIO(), io.StringIO()
        begun, code = time.process_time(), 0
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(refused):
            try:
                siltbook(arguments, prog_name="siltbook")
            except SystemExit as end:
                code = int(end.code or 0)
        seconds = time.process_time() - begun
        made = Measured(code, said.getvalue(), refused.getvalue(), peak_memory(), seconds)
        print(json.dumps(asdict(made)), flush=True)


def lack_memory(monkeypatch: pytest.MonkeyPatch, module: ModuleType, name: str) -> None:
    """Memory does not suffice where `module` makes the season of the book called `name`."""
    season = module.season

    def short(data: bytes, book: str, *more: Any) -> Any:
        if book == name:
            raise MemoryError
        return season(data, book, *more)

    monkeypatch.setattr(module, "season", short)
