"""Typed errors of the library; the command line maps each to one line and an exit code."""

from __future__ import annotations

from pathlib import Path


def why(error: OSError) -> str:
    """What the system says of an error, without its number and its file."""
    return error.strerror or str(error)


def too_large(path: object) -> str:
    """The sentence for a book, pack or batch that the machine's memory does not hold."""
    return f"{path}: too large for this machine's memory. Split it, or use a machine with more."


def naming(path: Path, said: str) -> str:
    """A refusal with its file named as it was given, so that books of two folders differ."""
    if str(path) in said:
        return said
    rest = said.removeprefix(path.name)
    if rest != said and not rest[:1].isalnum():
        return f"{path}{rest}"
    return f"{path}: {said}"


class SiltbookError(Exception):
    """Base of every error that Siltbook raises on purpose; its text is one clear sentence."""


class BookError(SiltbookError):
    """A workbook that cannot be read: names the file, what was found and what to do."""


class PackError(BookError):
    """A review pack where a farm's book is wanted."""
