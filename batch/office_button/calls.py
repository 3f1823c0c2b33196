"""Calls the installed Siltbook for the button, and says what came of it in words for a dialog.

This file travels inside the extension, where LibreOffice's own Python runs it, whichever that is:
it imports the standard library alone, and nothing that is newer than Python 3.8.
"""

from __future__ import annotations

import json
import os
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

ENDINGS = (".xlsx", ".xlsm", ".ods", ".xls")
TIMEOUT = 600.0  # [s]
SHOWN = 6  # findings that a dialog names
_SAYS = "siltbook: "  # begins each refusal that the program prints
_NO_CONSOLE = 0x08000000  # CREATE_NO_WINDOW: no black window flashes up on Windows
# What LibreOffice sets for its own Python and libraries would lead another program astray.
_THEIRS = ("PYTHON", "LD_LIBRARY_PATH", "DYLD_", "URE_", "UNO_")


class RefusedError(Exception):
    """What was asked for was not done; the text is one sentence for people."""


@dataclass(frozen=True)
class Done:
    """What came of it: the file to open, or '' where there is only something to say."""

    path: str
    said: str


def judge(program: str, book: str) -> Done:
    """Judge the saved book; the reviewed one, and what people should know of a kept result."""
    entry = _document(program, ["run", "--json", "--", book])
    return Done(str(entry["output"]), "\n\n".join(entry.get("said") or ()))


def check(program: str, book: str) -> Done:
    """What is wrong or doubtful in the saved book, in words; nothing is written."""
    entry = _document(program, ["check", "--json", "--", book])
    return Done("", found(entry["findings"], entry["cautions"]))


def round_sheet(program: str, book: str) -> Done:
    """The round sheet, a PDF beside the book."""
    return _paper(program, ["round", "--", book], book, "round")


def station_card(program: str, book: str, station: str) -> Done:
    """The station's card, a PDF beside the book."""
    return _paper(program, ["card", "--", book, station], book, "card")


def found(findings: Sequence[Mapping[str, str]], cautions: Sequence[str]) -> str:
    """The words for a dialog: how many findings, the gravest of them, and their cautions."""
    if not findings:
        return "Nothing is wrong or doubtful in what was written down."
    ranks = ("error", "doubt", "note")
    counts = [(rank, sum(one["severity"] == rank for one in findings)) for rank in ranks]
    told = ", ".join(f"{n} {rank}{'' if n == 1 else 's'}" for rank, n in counts if n)
    ordered = sorted(findings, key=lambda one: ranks.index(one["severity"]))
    lines = [f"{told} in this book."]
    lines += [f"{o['severity']}: {o['sheet']}!{o['cell']}: {o['message']}" for o in ordered[:SHOWN]]
    if len(ordered) > SHOWN:
        lines.append(f"{len(ordered) - SHOWN} more: Judge this book lists all on its Findings.")
    return "\n\n".join([*lines, *(f"! {line}" for line in cautions)])


def refuse_name(book: str) -> None:
    """RefusedError where the file's ending is none that Siltbook reads."""
    if not book.lower().endswith(ENDINGS):
        raise RefusedError(
            f"{os.path.basename(book)}: Siltbook reads {', '.join(ENDINGS)}. Save the book as"
            " .xlsx, then press again."
        )


def is_result(book: str) -> bool:
    """Whether a file is a reviewed book, whose results are then renewed in its place."""
    name = os.path.basename(book).lower()
    return ".reviewed." in name and name.endswith((".xlsx", ".xlsm"))


def may_be_result_of(path: str, book: str) -> bool:
    """Whether a file may be the one in which the results of `book` go."""
    if os.path.dirname(path) != os.path.dirname(book) or not is_result(path):
        return False
    name = os.path.basename(book)
    result = os.path.basename(path)
    return result[: result.lower().rindex(".reviewed.")] in (name, os.path.splitext(name)[0])


def surroundings(given: Mapping[str, str]) -> dict[str, str]:
    """The environment in which Siltbook runs: without what LibreOffice set for itself."""
    kept = {name: value for name, value in given.items() if not name.startswith(_THEIRS)}
    return {**kept, "PYTHONIOENCODING": "utf-8"}


def _paper(program: str, words: Sequence[str], book: str, kind: str) -> Done:
    _run(program, words)
    path = f"{os.path.splitext(book)[0]}.{kind}.pdf"
    if not os.path.isfile(path):
        raise RefusedError(f"{path}: was not made, or was taken away at once. Try again.")
    return Done(path, f"{path} was made, and opens in your program for PDFs.")


def _document(program: str, words: Sequence[str]) -> dict[str, Any]:
    """The entry of the one book in what the program says as JSON."""
    out = _run(program, words)
    try:
        books = json.loads(out)["books"]
        entry: dict[str, Any] = books[0]
    except (ValueError, LookupError, TypeError):
        raise RefusedError(
            "Siltbook answered in words that this button does not know. Make the button again:"
            " siltbook office-button"
        ) from None
    return entry


def _run(program: str, words: Sequence[str]) -> str:
    """What the program printed; RefusedError with its own sentence, or with why it did not run."""
    try:
        done = subprocess.run(
            [program, *words], env=surroundings(os.environ), stdin=subprocess.DEVNULL,
            capture_output=True, timeout=TIMEOUT, check=False,
            creationflags=_NO_CONSOLE if os.name == "nt" else 0,
        )  # fmt: skip
    except OSError:
        raise RefusedError(
            f"Siltbook is not at {program} any more. Install it, then type in a terminal: siltbook"
            " office-button"
        ) from None
    except subprocess.TimeoutExpired:
        raise RefusedError(
            f"Siltbook did not end within {TIMEOUT / 60:.0f} minutes. Type in a terminal: siltbook"
            f" {words[0]} BOOK"
        ) from None
    told = [line for line in _text(done.stderr).splitlines() if line.strip()]
    if done.returncode not in (0, 1):  # 1: 'check' found errors in the book
        said = next((line for line in told if line.startswith(_SAYS)), "")
        raise RefusedError(said[len(_SAYS) :] or _fault(done.returncode, told))
    return _text(done.stdout)


def _fault(code: int, told: Sequence[str]) -> str:
    last = told[-1][-300:] if told else "it said nothing"
    return f"Siltbook ended with code {code} ({last}). Try 'siltbook run BOOK' in a terminal."


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace")
