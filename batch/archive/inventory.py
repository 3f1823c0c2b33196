"""What really lies in an archive's folder: ordinary files, counted and measured before any is read.

No symbolic link is followed, nothing that is no ordinary file is opened, and a folder of more
files or bytes than any archive holds is not looked at further.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from siltbook.batch.errors import BookError, why
from siltbook.batch.systems import is_junction

MOST_SAID = 20  # sentences of one kind of trouble in one archive
MOST_ENTRIES = 2_000  # an archive holds under 20 files
MOST_BYTES = 2**30  # of all files together
MOST_BOOK = 128 * 2**20  # [bytes]; judging one takes four times as much memory
_CHUNK = 2**20
_LONGEST_SHOWN = 200  # characters of a name or a sentence that a stranger chose
_FLAGS = os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NOFOLLOW", 0)


@dataclass
class Inventory:
    """The ordinary files of a folder with their sizes [bytes], and what else stands there.

    `odd` maps the path of a link, a special file or an unreadable folder to what it is. `beyond`
    is one sentence where the folder breaks a limit; the rest is not complete then.
    """

    sizes: dict[str, int] = field(default_factory=dict)
    odd: dict[str, str] = field(default_factory=dict)
    beyond: str = ""


def shown(text: str) -> str:
    """A stranger's text as it can be said on every terminal and in every document; cut if long."""
    plain = encodable(text)
    return plain if len(plain) <= _LONGEST_SHOWN else f"{plain[:_LONGEST_SHOWN]}…"


def encodable(text: str) -> str:
    """Text that may hold half characters, as names of files may, so that it can be encoded."""
    return text.encode("utf-8", "backslashreplace").decode()


def walk(folder: Path) -> Inventory:
    """Everything in an archive's folder; BookError where the folder itself cannot be read."""
    held, count, waiting = Inventory(), 0, [""]
    while waiting:
        inside = waiting.pop()
        try:
            with os.scandir(folder / inside) as entries:
                for entry in entries:
                    count += 1
                    if count > MOST_ENTRIES:
                        held.beyond = f"holds more than {MOST_ENTRIES:,} files, far beyond any"
                        return held
                    _note(held, entry, f"{inside}/{entry.name}" if inside else entry.name, waiting)
        except OSError as error:
            if not inside:
                raise BookError(
                    f"{folder}: cannot be read ({why(error)}). Check the folder's permissions."
                ) from error
            held.odd[inside] = f"cannot be read ({why(error)})"
    if sum(held.sizes.values()) > MOST_BYTES:
        held.beyond = f"holds more than {MOST_BYTES // 2**20:,} MiB, beyond any"
    return held


def _note(held: Inventory, entry: os.DirEntry[str], name: str, waiting: list[str]) -> None:
    try:
        status = entry.stat(follow_symlinks=False)
    except OSError as error:
        held.odd[name] = f"cannot be read ({why(error)})"
        return
    if is_junction(status):
        held.odd[name] = "a junction, which is not followed"
    elif stat.S_ISREG(status.st_mode):
        held.sizes[name] = status.st_size
    elif stat.S_ISDIR(status.st_mode):
        waiting.append(name)
    elif stat.S_ISLNK(status.st_mode):
        held.odd[name] = "a symbolic link, which is not followed"
    else:
        held.odd[name] = "not an ordinary file"


def pieces(path: Path, size: int) -> Iterator[bytes]:
    """An ordinary file of `size` [bytes], piece by piece; OSError where it cannot be read.

    A file that grows meanwhile, or that something else was put in the place of, ends in OSError.
    """
    handle = os.open(path, _FLAGS | getattr(os, "O_NONBLOCK", 0))
    with open(handle, "rb", buffering=0) as file:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise OSError(0, "not an ordinary file")
        seen = 0
        while piece := file.read(_CHUNK):
            seen += len(piece)
            if seen > size:
                break
            yield piece
    if seen != size:
        raise OSError(0, "it changed while it was read")


def read(path: Path, size: int) -> bytes:
    """A whole file of `size` [bytes], as `pieces` gives it."""
    return b"".join(pieces(path, size))


def sha256(path: Path, size: int) -> str:
    """SHA-256 of a file in hexadecimal, without holding it in memory."""
    running = hashlib.sha256()
    for piece in pieces(path, size):
        running.update(piece)
    return running.hexdigest()
