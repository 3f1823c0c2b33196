"""Is an archive whole and unchanged? Every hash, the open standard's own check, and the verdicts.

A changed byte is found three ways: by the manifest; where the manifest was made anew to fit, by
making the archive again from its workbook; and by the seal, where somebody kept it elsewhere.

An archive may come from a stranger who made all of it, manifest and descriptor too: nothing of it
is followed, and nothing is opened before its size is known (`holding`, `strict`, `standard`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from siltbook.batch.archive import inventory, manifest, rebuild, standard
from siltbook.batch.archive.folder import PACKAGE
from siltbook.batch.archive.inventory import MOST_SAID, Inventory, shown
from siltbook.batch.errors import BookError, why


@dataclass(frozen=True)
class Verified:
    """What was found: `troubles` is empty where the archive is whole and unchanged.

    `notes` say what could not be compared, and why that is no trouble by itself. `listed` is the
    manifest, None where it is not one or not as it was written.
    """

    path: Path
    seal: str
    files: int
    troubles: tuple[str, ...]
    notes: tuple[str, ...]
    listed: manifest.Manifest | None = None


def verify(path: Path, kept_seal: str = "", *, judge_again: bool = True) -> Verified:
    """Check one archive; BookError, one sentence, only where it cannot be read at all.

    `kept_seal`: the seal as somebody noted it when the archive was made, or ''. Without
    `judge_again` only the files are checked, not what the workbook gives today.
    """
    try:
        return _verify(path, kept_seal, judge_again)
    except MemoryError:
        raise BookError(f"{path}: too large for this machine's memory.") from None


def _verify(path: Path, kept_seal: str, judge_again: bool) -> Verified:
    held = inventory.walk(path)
    if held.beyond:
        said = f"{held.beyond} that an archive holds: it was not looked at further."
        return Verified(path, "", 0, (said,), ())
    try:
        listed = _manifest(path, held)
    except manifest.ManifestError as error:
        return Verified(path, "", 0, (f"{manifest.NAME}: {error}.",), ())
    seal = manifest.seal(listed)
    if held.sizes.get(listed.book, 0) > inventory.MOST_BOOK:
        said = f"{shown(listed.book)}: larger than any workbook that an archive holds."
        return Verified(path, seal, len(listed.files), (said,), (), listed)
    troubles = [*_seal(seal, kept_seal), *_files(path, listed, held)]
    notes: list[str] = []
    if not troubles:
        troubles += _package(path, listed, held, notes)
    if judge_again and listed.book in held.sizes:
        troubles += _again(path, listed, held, notes)
    unique = tuple(dict.fromkeys(troubles))
    return Verified(path, seal, len(listed.files), unique, tuple(notes), listed)


def _manifest(path: Path, held: Inventory) -> manifest.Manifest:
    """The manifest; ManifestError where it is none, BookError where it cannot be read."""
    at = path / manifest.NAME
    if manifest.NAME not in held.sizes:
        raise manifest.ManifestError(f"it is {held.odd.get(manifest.NAME, 'missing')}")
    size = held.sizes[manifest.NAME]
    if size > manifest.LARGEST:
        raise manifest.ManifestError("it is larger than any manifest that this program writes")
    return manifest.read(_read(at, size))


def _read(at: Path, size: int) -> bytes:
    try:
        return inventory.read(at, size)
    except OSError as error:
        raise BookError(
            f"{at}: cannot be read ({why(error)}). Check the file's permissions."
        ) from error


def _seal(seal: str, kept: str) -> Iterator[str]:
    if kept and kept.strip().casefold() != seal:
        yield f"the seal is {seal}, not the one that was kept: the archive was made anew."


def _files(path: Path, listed: manifest.Manifest, held: Inventory) -> Iterator[str]:
    yield from _some(_unlike(path, listed, held))
    known = {*listed.files, manifest.NAME}
    yield from _some(
        f"{shown(name)}: not part of the archive (it was added later)."
        for name in sorted(held.sizes)
        if name not in known
    )
    yield from _some(
        f"{shown(name)}: {what}." for name, what in sorted(held.odd.items()) if name not in known
    )


def _unlike(path: Path, listed: manifest.Manifest, held: Inventory) -> Iterator[str]:
    for name, wanted in sorted(listed.files.items()):
        if name in held.odd:
            yield f"{shown(name)}: {held.odd[name]}."
        elif name not in held.sizes:
            yield f"{shown(name)}: missing."
        else:
            try:
                same = inventory.sha256(path / name, held.sizes[name]) == wanted
            except OSError as error:
                del held.sizes[name]  # nothing further is asked of it
                yield f"{shown(name)}: cannot be read ({why(error)})."
                continue
            if not same:
                yield f"{shown(name)}: changed (its SHA-256 is not the one in the manifest)."


def _some(said: Iterable[str]) -> Iterator[str]:
    """The first of many sentences, and how many more there are."""
    running = iter(said)
    yield from islice(running, MOST_SAID)
    more = sum(1 for _ in running)
    if more:
        yield f"and {more:,} more like this."


def _package(
    path: Path, listed: manifest.Manifest, held: Inventory, notes: list[str]
) -> Iterator[str]:
    """The descriptor, and every table by what it says of it."""
    try:
        if held.sizes.get(PACKAGE, 0) > standard.MOST_BYTES:
            raise standard.DescriptorError("it is larger than any that this program writes.")
        if PACKAGE not in held.sizes:
            raise standard.DescriptorError("it is not listed in the manifest.")
        data = _read(path / PACKAGE, held.sizes[PACKAGE])
        safe = standard.checked(data, listed, held.sizes)
    except standard.DescriptorError as error:
        yield f"{PACKAGE}: {error}"
        return
    tables = {table["path"]: held.sizes[table["path"]] for table in safe}
    try:
        too_many = standard.too_many(tables, path)
    except OSError as error:
        yield f"data/: cannot be read ({why(error)})."
        return
    if too_many:
        notes.append(
            "data/: the tables hold too much for the check against the Data Package standard; it "
            "was left out."
        )
        return
    for table in safe:
        at = table["path"]
        yield from standard.troubles(_read(path / at, held.sizes[at]), table)


def _again(
    path: Path, listed: manifest.Manifest, held: Inventory, notes: list[str]
) -> Iterator[str]:
    def read(name: str) -> bytes:
        return _read(path / name, held.sizes[name])

    yield from rebuild.rebuild_and_compare(listed, held.sizes, read, notes)
