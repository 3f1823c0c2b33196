"""The archive made again from its workbook, and compared with what is stored.

What is stored is a stranger's: it is read only where its size is near that of what was made, one
file and one part at a time, so that comparing takes no more memory than making did.
"""

from __future__ import annotations

import datetime as dt
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from io import BytesIO
from math import isclose
from typing import Any

from siltbook import __version__
from siltbook.batch.archive import manifest
from siltbook.batch.archive.folder import SUMMARY, VERDICTS, season
from siltbook.batch.archive.inventory import MOST_SAID, shown
from siltbook.batch.archive.strict_json import StrictError, parse_strict_json
from siltbook.batch.errors import SiltbookError
from siltbook.batch.fingerprint import digest
from siltbook.batch.package.limits import DAMAGE, MAX_PARTS

MOST_VERDICTS = 64 * 2**20  # [bytes]; 10,000 stations take 24 MB
_MOST_VALUES = 3_000_000
# Bounded on every side: on a long run of digits an open repetition takes the square of its length.
_NUMBER = re.compile(rb"(?<![0-9.])-?[0-9]{1,20}\.[0-9]{1,25}(?:[eE][-+]?[0-9]{1,3})?(?![0-9.])")
_CHUNK = 2**20
_DIRECTORY_ENTRY = b"PK\x01\x02"
_BOOKS = (".xlsx", ".xlsm")
_MAKER = re.compile(rb"/Producer \(([ -'*-\[\]-~]{1,60})\)")

Read = Callable[[str], bytes]


def rebuild_and_compare(
    listed: manifest.Manifest, sizes: Mapping[str, int], read: Read, notes: list[str]
) -> Iterator[str]:
    """What differs, one sentence each; what could not be compared goes to `notes`.

    `sizes` [bytes] and `read` are of the files that are there, with the SHA-256 of `listed` or not.
    """
    as_of = dt.date.fromisoformat(listed.as_of) if listed.as_of else None
    try:
        made = season(read(listed.book), listed.book, as_of).files
    except SiltbookError as error:
        yield f"{shown(listed.book)}: cannot be judged again: {error}"
        return
    if listed.files.get(VERDICTS) != digest(made[VERDICTS]):
        yield from _verdicts(made[VERDICTS], sizes, read)
    if listed.version != __version__:
        notes.append(
            f"made by siltbook {shown(listed.version)}, checked by {__version__}: of the files "
            "that can be made again only the verdicts were compared."
        )
        return
    for name in sorted({*listed.files} - {*made}):
        yield f"{shown(name)}: the workbook gives no such file when it is judged again."
    for name in sorted({*made} - {manifest.NAME}):
        if name not in listed.files:
            yield f"{name}: is not listed, although the workbook gives it."
        elif name in sizes and not _stored_as_made(name, made[name], listed, sizes, read):
            maker = _other_maker(sizes[name], made[name], read) if name == SUMMARY else ""
            if maker:
                notes.append(
                    f"{name}: not compared; it says that {maker} made it, which makes another file."
                )
            else:
                yield f"{name}: differs from what the workbook gives when it is judged again."


def _stored_as_made(
    name: str,
    made: bytes,
    listed: manifest.Manifest,
    sizes: Mapping[str, int],
    read: Read,
) -> bool:
    """Equal bytes, or equal content of about the same size."""
    if sizes[name] == len(made) and digest(made) == listed.files[name]:
        return True
    if not _near(sizes[name], len(made)):
        return False
    stored = read(name)
    return same_book(stored, made) if name.endswith(_BOOKS) else alike(stored, made)


def _other_maker(size: int, made: bytes, read: Read) -> str:
    """The PDF library that a page says it is by, where that is not the one that is used here."""
    if not _near(size, len(made)):
        return ""
    before, now = (_MAKER.search(page) for page in (read(SUMMARY), made))
    return before[1].decode() if before and now and before[1] != now[1] else ""


def _near(stored: int, made: int) -> bool:
    return made // 4 <= stored <= 4 * made + 4_096


def alike(stored: bytes, made: bytes) -> bool:
    """Equal text, and equal numbers in it up to the last digits that machines differ in."""
    if stored == made:
        return True
    at = at_made = 0
    ours = _NUMBER.finditer(made)
    for number in _NUMBER.finditer(stored):
        other = next(ours, None)
        if other is None or stored[at : number.start()] != made[at_made : other.start()]:
            return False
        before, now = number[0], other[0]
        if before != now and not isclose(float(before), float(now), rel_tol=1e-9, abs_tol=1e-12):
            return False
        at, at_made = number.end(), other.end()
    return next(ours, None) is None and stored[at:] == made[at_made:]


def same_book(stored: bytes, made: bytes) -> bool:
    """The same parts in the same order, whatever packed them; `made` is a book of ours."""
    if stored.count(_DIRECTORY_ENTRY) > MAX_PARTS:
        return False  # so many entries would all be read before they could be counted
    try:
        with zipfile.ZipFile(BytesIO(stored)) as before, zipfile.ZipFile(BytesIO(made)) as now:
            pairs = list(zip(before.infolist(), now.infolist(), strict=True))
            return all(
                one.filename == other.filename
                and _near(one.file_size, other.file_size)
                and alike(_part(before, one), _part(now, other))
                for one, other in pairs
            )
    except DAMAGE:
        return False


def _part(package: zipfile.ZipFile, part: zipfile.ZipInfo) -> bytes:
    """A part of at most its declared size; read by pieces, as a library would unpack all."""
    made = bytearray()
    with package.open(part) as stream:
        while len(made) <= part.file_size and (piece := stream.read(_CHUNK)):
            made += piece
    return bytes(made)


def _verdicts(made: bytes, sizes: Mapping[str, int], read: Read) -> Iterator[str]:
    if VERDICTS not in sizes:
        return  # said already: missing
    try:
        if sizes[VERDICTS] > MOST_VERDICTS:
            raise StrictError("it is larger than any that this program writes")
        stored = _by_station(read(VERDICTS))
    except StrictError as error:
        yield f"{VERDICTS}: {error}."
        return
    except (KeyError, TypeError):
        yield f"{VERDICTS}: it does not say a verdict for each station."
        return
    again = _by_station(made)
    differing = [s for s in sorted({*stored, *again}) if stored.get(s) != again.get(s)]
    for station in differing[:MOST_SAID]:
        before, now = (shown(one.get(station, "none")) for one in (stored, again))
        yield f"{VERDICTS}: {shown(station)}: {before} in the archive, {now} when judged again."
    if len(differing) > MOST_SAID:
        yield f"{VERDICTS}: and {len(differing) - MOST_SAID:,} more stations."


def _by_station(data: bytes) -> dict[str, str]:
    """Verdict by station; StrictError, KeyError or TypeError where it is no document of ours."""
    stations: list[dict[str, Any]] = parse_strict_json(data, MOST_VERDICTS, _MOST_VALUES)[
        "stations"
    ]
    return {str(s["station"]): str(s["verdict"]) for s in stations}
