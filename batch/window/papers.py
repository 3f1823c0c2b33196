"""What the window's buttons make, each by the command of that name, with its own sentences."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from siltbook.batch.window.events import Failed, Made

if TYPE_CHECKING:
    import click

_SAYS = "siltbook: "  # begins each failure that a command prints


def round_sheet(book: Path) -> Made | Failed:
    """The round sheet beside the book."""
    from siltbook.batch.commands.paper import round_

    return _made(round_, ["--", str(book)], "Round sheet", _beside(book, "round", ".pdf"))


def station_card(book: Path, stations: Sequence[str]) -> Made | Failed:
    """The cards of these stations beside the book, in one PDF."""
    from siltbook.batch.commands.paper import card

    words = ["--", str(book), *stations]
    return _made(card, words, "Station card", _beside(book, "card", ".pdf"))


def audit(book: Path) -> Made | Failed:
    """The audited copy beside the book."""
    from siltbook.batch.commands.audit import audit as command

    return _made(command, ["--", str(book)], "Audit", _beside(book, "audited", ".xlsx"))


def archive(book: Path, to: Path) -> Made | Failed:
    """The season's folder in `to`."""
    from siltbook.batch.commands.archive import archive as command

    words = ["--to", str(to), "--", str(book)]
    return _made(command, words, "Archive", to / book.stem)


def review_pack(books: Sequence[Path], month: str) -> Made | Failed:
    """The pack of the month ('2026-07') of these books, beside the first of them."""
    from siltbook.batch.commands.review import review
    from siltbook.batch.errors import SiltbookError
    from siltbook.batch.review.month import parse_month
    from siltbook.batch.review.target import pack_path

    try:
        target = pack_path(books, parse_month(month), None)
    except (ValueError, SiltbookError) as error:
        return Failed(str(error))
    words = ["--month", month, "--", *map(str, books)]
    return _made(review, words, "Review pack", target)


def _beside(book: Path, kind: str, ending: str) -> Path:
    return book.with_name(f"{book.stem}.{kind}{ending}")


def _made(command: click.Command, words: Sequence[str], what: str, path: Path) -> Made | Failed:
    """Run the command; what it made, or the first sentence in which it said why not."""
    import click

    out, err = io.StringIO(), io.StringIO()
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            command.main([*words], prog_name="siltbook", standalone_mode=False)
    except click.ClickException as error:
        return Failed(error.format_message())
    except Exception as error:  # the last resort: the window stays
        from siltbook.batch.fault import fault_of

        return Failed(fault_of(error).said(what))
    failures = [line for line in err.getvalue().splitlines() if line.startswith(_SAYS)]
    if failures:
        return Failed(failures[0].removeprefix(_SAYS))
    if not path.exists():
        return Failed(f"{path}: was not made, or was taken away at once. Try again.")
    return Made(what, path, tuple(filter(None, out.getvalue().splitlines())))
