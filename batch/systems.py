"""What differs between operating systems, in one place, where tests can take another's part.

The facts about Windows are from its documentation (maximum path length; reparse points; what
happens to a file marked as read-only) and from Python's (`os.stat_result.st_reparse_tag`).
"""

from __future__ import annotations

import contextlib
import errno
import os
import shlex
import shutil
import stat
import subprocess
import sys
import unicodedata
from collections.abc import Sequence
from pathlib import Path

MOST_PATH = 259  # characters of a path on Windows, unless long paths are switched on
_JUNCTION = 0xA0000003  # IO_REPARSE_TAG_MOUNT_POINT


def reader_gone(error: OSError, system: str = sys.platform) -> bool:
    """Whether output failed because nobody reads it any more (`siltbook ... | more`, then q).

    Windows says then that the argument is invalid.
    """
    gone = (errno.EPIPE, errno.EINVAL) if system == "win32" else (errno.EPIPE,)
    return error.filename is None and error.errno in gone


def too_long(path: Path, system: str = sys.platform) -> str:
    """The sentence for a path of more characters than the system takes; '' where it is not."""
    whole = str(path if path.is_absolute() else Path(os.path.abspath(path)))
    if system != "win32" or len(whole) <= MOST_PATH or whole.startswith("\\\\?\\"):
        return ""
    return (
        f"{path}: its path has {len(whole)} characters, and Windows takes {MOST_PATH} unless long"
        " paths are switched on. Move it to a folder nearer to the drive, or give a shorter --out."
    )


def name_too_long(path: Path) -> str:
    """The sentence for a file whose name the disk does not take for its length; '' otherwise.

    Each disk has its own limit, most of them 255 bytes: so the system is asked.
    """
    try:
        os.lstat(path)
    except OSError as error:
        if error.errno == errno.ENAMETOOLONG:
            return (
                f"{path}: the name has {len(path.name)} characters, more than a file's name can "
                "have here. Give the book a shorter name."
            )
    return ""


def absent(path: Path, what: str) -> str:
    """The sentence for a path at which nothing is."""
    if os.path.islink(path):
        return (
            f"{path}: is a link to {os.readlink(path)}, where nothing can be reached. Bring that "
            "drive or folder back, or name the book itself."
        )
    lacks = f"{path}: no such {what}. Check the spelling of the path."
    return too_long(path) or name_too_long(path) or lacks


def may_be_file(path: Path) -> bool:
    """Whether it is a file, or what it is cannot be told: that is said when it is opened."""
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except OSError:
        return os.path.lexists(path)


def same_name(path: Path) -> str:
    """A path such that two that any system takes for one are the same.

    Many pass over capitals, some over the two ways in which an accented letter is written.
    """
    return unicodedata.normalize("NFC", unicodedata.normalize("NFC", str(path)).casefold())


def is_junction(status: os.stat_result) -> bool:
    """Whether a folder, as looked at without following it, only leads to another (on Windows)."""
    return getattr(status, "st_reparse_tag", 0) == _JUNCTION


def remove(path: str | Path) -> None:
    """Take a file away, also one marked as read-only, which Windows would keep; OSError."""
    try:
        os.unlink(path)
    except PermissionError:
        os.chmod(path, stat.S_IREAD | stat.S_IWRITE)
        os.unlink(path)


def remove_tree(folder: Path) -> None:
    """Take a folder away with what is in it, also what is marked as read-only; OSError."""
    try:
        shutil.rmtree(folder)
    except PermissionError:
        for at, _, names in os.walk(folder):
            for name in names:
                with contextlib.suppress(OSError):
                    os.chmod(os.path.join(at, name), stat.S_IREAD | stat.S_IWRITE)
        shutil.rmtree(folder)


def umask() -> int:
    """The permissions that new files of this process do not get."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def sync_folder(folder: Path) -> None:
    """Bring a rename to the disk, where the system can: then it outlasts a power cut as well."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def give_as(target: Path, draft: str) -> None:
    """Let people do with a draft what they may do with `target`: else its group would be shut out.

    The owner can be given by an administrator alone, the group by whoever is in it. Where there is
    no target yet, the draft gets what any new file gets.
    """
    if not target.exists():
        os.chmod(draft, 0o666 & ~umask())
        return
    status = target.stat()
    if hasattr(os, "chown"):
        for owner in (-1, status.st_uid):
            with contextlib.suppress(OSError):
                os.chown(draft, owner, status.st_gid)
    os.chmod(draft, status.st_mode & 0o777)
    if hasattr(os, "listxattr"):  # lists of who may do what (access control lists) are among them
        with contextlib.suppress(OSError):
            for name in os.listxattr(target):
                with contextlib.suppress(OSError):
                    os.setxattr(draft, name, os.getxattr(target, name))


def as_typed(words: Sequence[str], system: str = sys.platform) -> str:
    """A command as a person types it, with what has spaces in quotation marks of the system's."""
    return subprocess.list2cmdline(words) if system == "win32" else shlex.join(words)
