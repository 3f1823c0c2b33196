"""What the commands share: common options, refusals in one line, and the end with its exit code."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from siltbook.batch.fault import Fault

EXIT_FINDINGS = 1
EXIT_BOOK = 3
EXIT_STOPPED = 130  # as shells count a process that Ctrl-C ended
EPILOG = (
    "Exit codes: 0 all done; 1 'check' found errors in a book, 'audit' something to look at, or "
    "'verify' an archive that is not as it was; 2 wrong use of the command; 3 a book or "
    "an archive could not be read or its result not written (the others were still done); 130 "
    "stopped by Ctrl-C."
)
# Not checked for being readable here: one that is not would end the whole batch.
ANY_PATH = click.Path(path_type=Path, readable=False)
PATHS = click.argument("books", nargs=-1, required=True, type=ANY_PATH, metavar="BOOK...")
AS_OF = click.option(
    "--as-of",
    type=click.DateTime(["%Y-%m-%d"]),
    help="Judge as of this day (YYYY-MM-DD); else the review date, else the latest entry.",
)
PAPER_SIZE = click.option(
    "--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True,
    help="Size of the page.",
)  # fmt: skip
JSON = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON document instead of text."
)
PRESSURES = "m of water"  # what numbers of every `--json` document are in, whatever is shown
_DEBUG = "siltbook.debug"
_OF_CLICK = (click.exceptions.Exit, click.ClickException, click.Abort)


def _note_debug(context: click.Context, _: click.Parameter, value: bool) -> None:
    context.meta[_DEBUG] = value


DEBUG = click.option(
    "--debug", is_flag=True, expose_value=False, callback=_note_debug,
    help="Write a report file where Siltbook itself fails.",
)  # fmt: skip


def day(moment: dt.datetime | None) -> dt.date | None:
    """The day that was asked for; a usage error outside the years that a workbook's dates have."""
    if moment is None:
        return None
    from siltbook.batch.reading.parsing import FIRST_YEAR, LAST_YEAR

    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise click.UsageError(
            f"--as-of: read {moment.date().isoformat()}; accepted: a day in the years {FIRST_YEAR} "
            f"to {LAST_YEAR}. Check the year."
        )
    return moment.date()


@contextmanager
def refusals() -> Iterator[None]:
    """A refusal of the library becomes its one line and the documented exit code."""
    from siltbook.batch.errors import SiltbookError, too_large
    from siltbook.batch.fault import fault_of

    try:
        yield
    except SiltbookError as error:
        fail(str(error))
        raise click.exceptions.Exit(EXIT_BOOK) from error
    except MemoryError as error:
        fail(too_large("What was given"))
        raise click.exceptions.Exit(EXIT_BOOK) from error
    except _OF_CLICK:
        raise
    except Exception as error:
        if is_of_output(error):
            raise
        fail(fault_said("What was given", fault_of(error)))
        raise click.exceptions.Exit(EXIT_BOOK) from error


@contextmanager
def one_of_many(path: Path, failures: list[dict[str, str]]) -> Iterator[None]:
    """What goes wrong with one book becomes its sentence among `failures`; the others go on."""
    from siltbook.batch.errors import SiltbookError, naming, too_large
    from siltbook.batch.fault import fault_of

    try:
        yield
    except SiltbookError as error:
        failures.append(failure(path, naming(path, str(error))))
    except MemoryError:
        failures.append(failure(path, too_large(path)))
    except _OF_CLICK:
        raise
    except Exception as error:  # the last resort: one book never stops the others
        if is_of_output(error):
            raise
        failures.append(failure(path, fault_said(path, fault_of(error))))


def is_of_output(error: Exception) -> bool:
    """Whether what is printed could not be written: that ends the command, not one book.

    Not every error without a file's name is: it must have come out of the printing itself.
    """
    if not isinstance(error, OSError) or error.filename is not None:
        return False
    frame = error.__traceback__
    while frame is not None:
        if frame.tb_frame.f_code is click.echo.__code__:
            return True
        frame = frame.tb_next
    return False


def fault_said(path: object, fault: Fault) -> str:
    """The sentence for a fault of the program; its report is written where that was asked for."""
    from siltbook.batch.fault import report

    context = click.get_current_context(silent=True)
    asked = context is not None and context.meta.get(_DEBUG, False)
    return fault.said(path, report(fault, Path()) if asked else None)


def books_of(given: tuple[Path, ...], failures: list[dict[str, str]]) -> list[Path]:
    """The books that were given; a path without any is told at the end, and the others are done."""
    from siltbook.batch.files import find_books

    refused: list[tuple[Path, str]] = []
    found = find_books(given, refused)
    failures += [failure(path, said) for path, said in refused]
    return found


def failure(path: Path, message: str) -> dict[str, str]:
    return {"path": str(path), "message": message}


def fail(message: str) -> None:
    from siltbook.batch.report.book import printable

    click.echo(printable(f"siltbook: {message}"), err=True)


def document(value: object) -> str:
    """One JSON document, as the output's encoding can hold it.

    A name with bytes that are no text, or a terminal of few characters, makes it plain ASCII.
    Nothing in it moves the cursor or turns the direction of writing: such characters are escaped.
    """
    import json
    import re
    import sys

    text = json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False)
    text = re.sub(r"[^\n -~]", lambda found: _escaped(found[0]), text)
    try:
        text.encode(sys.stdout.encoding or "utf-8")
    except UnicodeEncodeError:
        text = json.dumps(value, indent=2, allow_nan=False)
    return text


def tell_cautions(lines: Iterable[str]) -> None:
    """Print cautions beneath what they belong to: each once, the emergency first."""
    from siltbook.templates.safety import in_order

    for words in in_order(lines):
        click.echo(f"! {words}")


def _escaped(character: str) -> str:
    """A character as JSON writes it in ASCII, unless it simply prints."""
    import json

    return character if character.isprintable() else json.dumps(character)[1:-1]


def finish(
    done: list[dict[str, Any]], failures: list[dict[str, str]], as_json: bool, code: int
) -> None:
    if as_json:
        click.echo(document({"books": done, "failed": failures, "pressures": PRESSURES}))
    end(failures, code)


def end(failures: list[dict[str, str]], code: int = 0) -> None:
    """Say what failed, and end with the exit code for it; with `code` where nothing did."""
    for one in failures:
        fail(one["message"])
    code = EXIT_BOOK if failures else code
    if code:
        raise click.exceptions.Exit(code)


def though_protected(old: bytes, new: bytes | None, name: str) -> str:
    """The sentence on protected sheets of a book whose rows `new` changes; '' for none."""
    from siltbook.batch.guard import within

    if new is None:
        return ""
    by_hand = "siltbook.batch.typed.by_hand:written_though_protected"
    return str(within(by_hand, (old, new), name, old, new, name))


def while_open(written: Path | None, *read: Path) -> list[str]:
    """What to say of files that are open in a spreadsheet program.

    Of those that were `read`, what is not saved was not seen. One to which rows were `written`
    would lose them, were it saved there as it stands.
    """
    from siltbook.batch.files import lock_note

    said = [lock_note(path) for path in read]
    if written is not None and (note := lock_note(written)):
        said += [note, "  Open it anew before you save it there, or the rows are lost."]
    return [*filter(None, said)]
