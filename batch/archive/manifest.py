"""The list of an archive's files with their SHA-256, and a seal over the list itself."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from siltbook.batch.archive.strict_json import parse_strict_json
from siltbook.batch.fingerprint import digest
from siltbook.batch.reading.parsing import FIRST_YEAR, LAST_YEAR

NAME = "manifest.json"
MARK = b'"made_by": "siltbook '  # in every manifest of this program, and hardly in another
FORMAT = 1
LARGEST = 2**20  # [bytes]; an archive lists under 20 files
MOST_FILES = 1_000


class ManifestError(ValueError):
    """The manifest is not one, or not as it was written; the text says what is wrong."""


@dataclass(frozen=True)
class Manifest:
    """What a manifest says. `files` maps a path inside the archive to its SHA-256 (hex)."""

    version: str  # of the program that made it
    book: str  # file name of the workbook
    as_of: str | None  # ISO date
    files: Mapping[str, str]


def as_json(document: object) -> bytes:
    """A document as the archive stores it: sorted, indented, the same bytes each time."""
    text = json.dumps(document, ensure_ascii=False, indent=2, sort_keys=True, allow_nan=False)
    return (text + "\n").encode()


def _document(manifest: Manifest) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "made_by": f"siltbook {manifest.version}",
        "book": manifest.book,
        "as_of": manifest.as_of,
        "files": [{"path": p, "sha256": h} for p, h in sorted(manifest.files.items())],
    }


def seal(manifest: Manifest) -> str:
    """One figure for the whole archive: SHA-256 over the list of files and their hashes."""
    return digest(as_json(_document(manifest)))


def write(manifest: Manifest) -> bytes:
    """The manifest with its seal, as bytes."""
    return as_json({**_document(manifest), "seal": seal(manifest)})


def read(data: bytes) -> Manifest:
    """The manifest; ManifestError where it cannot be read or any byte of it was changed."""
    if len(data) > LARGEST:
        raise ManifestError("it is larger than any manifest that this program writes")
    try:
        manifest = _parsed(parse_strict_json(data, LARGEST, 10 * MOST_FILES))
        rewritten = write(manifest)
    except (ValueError, KeyError, TypeError):
        raise ManifestError("it is not a manifest that this program wrote") from None
    if rewritten != data:
        raise ManifestError("it was changed after it was written")
    if len(manifest.files) > MOST_FILES:
        raise ManifestError("it lists more files than any archive holds")
    unsafe = [p for p in (*manifest.files, manifest.book) if not inside(p)]
    if unsafe or manifest.book not in manifest.files or NAME in manifest.files:
        raise ManifestError("it names files outside the archive, or not its own book")
    if len({p.casefold() for p in manifest.files}) < len(manifest.files):
        raise ManifestError("it names two files that differ in capitals only")
    return manifest


def _parsed(found: Any) -> Manifest:
    """The document as a manifest; ValueError, KeyError or TypeError where it is none."""
    files = {_text(f["path"]): _text(f["sha256"]) for f in found["files"]}
    as_of = found["as_of"]
    if as_of is not None:
        year = dt.date.fromisoformat(_text(as_of)).year
        if not FIRST_YEAR <= year <= LAST_YEAR:
            raise ValueError("no workbook has dates of such a year")
    made_by = _text(found["made_by"]).removeprefix("siltbook ")
    return Manifest(made_by, _text(found["book"]), as_of, files)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("a text is expected")
    return value


def inside(path: str) -> bool:
    """Whether a path can only lead into the archive, on every system."""
    parts = path.split("/")
    return not (set(parts) & {"", ".", ".."}) and "\\" not in path and ":" not in path
