"""Is an archive whole and unchanged? Every hash, the open standard's own check, and the verdicts.

A changed byte is found three ways: by the manifest; where the manifest was made anew to fit, by
making the archive again from its workbook; and by the seal, where somebody kept it elsewhere.
"""

from __future__ import annotations

import datetime as dt
import json
import re
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from math import isclose
from pathlib import Path
from typing import Any

from batch import __version__
from batch.archive import manifest
from batch.archive.folder import PACKAGE, SUMMARY, VERDICTS, season
from batch.errors import BookError, SiltbookError
from batch.files import take
from batch.fingerprint import digest

_NUMBER = re.compile(rb"(-?\d+\.\d+(?:[eE][-+]?\d+)?)")
_MOST_SAID = 20  # of one kind of trouble in one archive


@dataclass(frozen=True)
class Verified:
    """What was found: `troubles` is empty where the archive is whole and unchanged.

    `notes` say what could not be compared, and why that is no trouble by itself.
    """

    path: Path
    seal: str
    files: int
    troubles: tuple[str, ...]
    notes: tuple[str, ...]


def find_archives(path: Path) -> list[Path]:
    """The archive at `path`, or those in the folder `path`; BookError where there is none."""
    if not path.is_dir():
        raise BookError(f"{path}: no such folder. Name the folder of an archive.")
    if (path / manifest.NAME).exists():
        return [path]
    inside = sorted(p.parent for p in path.glob(f"*/{manifest.NAME}"))
    if not inside:
        raise BookError(
            f"{path}: holds no archive (no {manifest.NAME} in it or in a folder of it). Name the "
            "folder that 'siltbook archive' wrote."
        )
    return inside


def verify(path: Path, kept_seal: str = "", *, judge_again: bool = True) -> Verified:
    """Check one archive; BookError only where a file cannot be read at all.

    `kept_seal`: the seal as somebody noted it when the archive was made, or ''. Without
    `judge_again` only the files are checked, not what the workbook gives today.
    """
    try:
        listed = manifest.read(take(path / manifest.NAME).data)
    except manifest.ManifestError as error:
        return Verified(path, "", 0, (f"{manifest.NAME}: {error}.",), ())
    seal = manifest.seal(listed)
    held = {p: (path / p) for p in listed.files}
    found = {p: take(at).data for p, at in held.items() if at.is_file() and not at.is_symlink()}
    troubles = [*_seal(seal, kept_seal), *_files(path, listed, found)]
    notes: list[str] = []
    if not troubles:
        troubles += _package(path, found)
    if judge_again and listed.book in found:
        troubles += _again(listed, found, notes)
    return Verified(path, seal, len(listed.files), tuple(dict.fromkeys(troubles)), tuple(notes))


def _seal(seal: str, kept: str) -> Iterator[str]:
    if kept and kept.strip().casefold() != seal:
        yield f"the seal is {seal}, not the one that was kept: the archive was made anew."


def _files(path: Path, listed: manifest.Manifest, found: dict[str, bytes]) -> Iterator[str]:
    for name, wanted in sorted(listed.files.items()):
        if name not in found:
            yield f"{name}: missing."
        elif digest(found[name]) != wanted:
            yield f"{name}: changed (its SHA-256 is not the one in the manifest)."
    known = {*listed.files, manifest.NAME}
    for entry in sorted(path.rglob("*")):
        name = entry.relative_to(path).as_posix()
        plain_folder = entry.is_dir() and not entry.is_symlink()
        if not plain_folder and name not in known:
            yield f"{name}: not part of the archive (it was added later)."


def _package(path: Path, found: dict[str, bytes]) -> list[str]:
    """The open standard's own library over the descriptor and every table."""
    troubles = list(_resources(found))
    if troubles:
        return troubles
    from frictionless import Package, system

    with system.use_context(trusted=False):
        report = Package.from_descriptor(json.loads(found[PACKAGE]), basepath=str(path)).validate()
    errors = [(task.place, error.message) for task in report.tasks for error in task.errors]
    errors += [(PACKAGE, error.message) for error in report.errors]
    said = [f"{place}: not valid by the Data Package standard: {text}" for place, text in errors]
    return said[:_MOST_SAID]


def _resources(found: dict[str, bytes]) -> Iterator[str]:
    """A descriptor may name files anywhere, even on the net: only those of the archive count."""
    try:
        paths = [str(r["path"]) for r in json.loads(found[PACKAGE])["resources"]]
    except (KeyError, TypeError, ValueError, RecursionError):
        yield f"{PACKAGE}: it does not list its tables."
        return
    yield from (f"{PACKAGE}: names {p}, which is not in the archive." for p in paths
                if p not in found)  # fmt: skip


def _again(listed: manifest.Manifest, found: dict[str, bytes], notes: list[str]) -> Iterator[str]:
    """Make the archive again from its workbook and compare."""
    as_of = dt.date.fromisoformat(listed.as_of) if listed.as_of else None
    try:
        made = season(found[listed.book], listed.book, as_of)
    except SiltbookError as error:
        yield f"{listed.book}: cannot be judged again: {error}"
        return
    yield from _verdicts(found, made.files)
    if listed.version != __version__:
        notes.append(
            f"made by siltbook {listed.version}, checked by {__version__}: of the files that can "
            "be made again only the verdicts were compared."
        )
        return
    for name in sorted({*made.files} - {manifest.NAME}):
        if name not in found:
            continue  # said already: missing
        if not _same(name, found[name], made.files[name]):
            if name == SUMMARY:
                notes.append(f"{name}: made again it differs; another version of a library?")
            else:
                yield f"{name}: differs from what the workbook gives when it is judged again."


def _same(name: str, stored: bytes, made: bytes) -> bool:
    """The same content: a workbook's parts whatever packed them, numbers but for noise."""
    if stored == made:
        return True
    if not name.endswith((".xlsx", ".xlsm")):
        return _alike(stored, made)
    before, now = _parts(stored), _parts(made)
    return [n for n, _ in before] == [n for n, _ in now] != [] and all(
        a == b or _alike(a, b) for (_, a), (_, b) in zip(before, now, strict=True)
    )


def _alike(stored: bytes, made: bytes) -> bool:
    """Equal text, and equal numbers in it up to the last digits that machines differ in."""
    before, now = _NUMBER.split(stored), _NUMBER.split(made)
    if len(before) != len(now) or before[::2] != now[::2]:
        return False
    pairs = zip(before[1::2], now[1::2], strict=True)
    return all(a == b or isclose(float(a), float(b), rel_tol=1e-9, abs_tol=1e-12) for a, b in pairs)


def _parts(data: bytes) -> list[tuple[str, bytes]]:
    try:
        with zipfile.ZipFile(BytesIO(data)) as package:
            return [(name, package.read(name)) for name in package.namelist()]
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError):
        return []


def _verdicts(found: dict[str, bytes], made: dict[str, bytes]) -> Iterator[str]:
    stored, again = _by_station(found.get(VERDICTS, b"")), _by_station(made[VERDICTS])
    for station in sorted({*stored, *again}):
        before, now = stored.get(station, "none"), again.get(station, "none")
        if before != now:
            yield f"{VERDICTS}: {station}: {before} in the archive, {now} when judged again."


def _by_station(document: bytes) -> dict[str, str]:
    try:
        stations: list[dict[str, Any]] = json.loads(document)["stations"]
        return {str(s["station"]): str(s["verdict"]) for s in stations}
    except (KeyError, TypeError, ValueError, RecursionError):
        return {}
