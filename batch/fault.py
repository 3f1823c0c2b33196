"""Faults of the program itself: one sentence for people, a report for those who mend it."""

from __future__ import annotations

import platform
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path

from siltbook import __version__

REPORT = "siltbook-fault"
_SAID = "this is a fault of Siltbook, not of your book; the others were done."


@dataclass(frozen=True)
class Fault:
    """An error that nobody expected, told without holding on to anything of the book."""

    kind: str
    trace: str

    def said(self, path: object, reported: Path | None = None) -> str:
        """The sentence for the book; with where the report is, or how to get one."""
        where = (
            f"The report is in {reported}."
            if reported
            else "Run this book alone with --debug for a report that helps to mend it."
        )
        return f"{path}: {_SAID} {where}"


def fault_of(error: BaseException) -> Fault:
    """The fault behind an error."""
    return Fault(type(error).__name__, "".join(traceback.format_exception(error)))


def report(fault: Fault, folder: Path) -> Path | None:
    """Write what is known of a fault to a new file; None where that cannot be written.

    It names places in the program and what Python says of the error, which may quote a cell.
    """
    text = (
        f"Siltbook {__version__}, Python {platform.python_version()}, {sys.platform}\n\n"
        f"{fault.trace}"
    )
    for number in range(1, 1000):
        path = folder / f"{REPORT}-{number}.txt"
        try:
            with open(path, "x", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
        except FileExistsError:
            continue
        except OSError:
            return None
        return path
    return None
