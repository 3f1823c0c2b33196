"""Typed errors of the library; the command line maps each to one line and an exit code."""

from __future__ import annotations


def why(error: OSError) -> str:
    """What the system says of an error, without its number and its file."""
    return error.strerror or str(error)


class SiltbookError(Exception):
    """Base of every error that Siltbook raises on purpose; its text is one clear sentence."""


class BookError(SiltbookError):
    """A workbook that cannot be read: names the file, what was found and what to do."""
