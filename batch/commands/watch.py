"""The command that judges a book again whenever it is saved."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import (
    AS_OF,
    DEBUG,
    day,
    fault_said,
    refusals,
    tell_cautions,
)

if TYPE_CHECKING:
    from siltbook.batch.watching import Stamp

LOOK = 500  # [ms] between two looks at the folder, where nothing wakes us earlier
AGAIN = 10.0  # [s] after which a result that could not be written is tried again
EPILOG = (
    "Exit codes: 0 ended by Ctrl-C or kill; 2 wrong use of the command; 3 the folder cannot be "
    "watched, or was renamed or deleted."
)


@click.command(epilog=EPILOG)
@click.argument("folder", type=click.Path(path_type=Path))
@AS_OF
@DEBUG
def watch(folder: Path, as_of: dt.datetime | None) -> None:
    """Judge each book in FOLDER whenever it is saved, until Ctrl-C.

    The result goes to NAME.reviewed.xlsx beside the book. Books saved since their last result
    are judged at the start. A book counts as saved when it has not changed for a second. A book
    that cannot be read, or a result that cannot be written, because a program holds it or its drive
    is away, is tried again every ten seconds.
    """
    try:
        with refusals():
            _watch(folder, day(as_of))
    except (KeyboardInterrupt, SystemExit):  # the second where the system tells us to end
        click.echo()


def _watch(folder: Path, as_of: dt.date | None) -> None:
    import time

    from siltbook.batch.files import sweep
    from siltbook.batch.report.book import printable
    from siltbook.batch.watching import Saves, results, stamps, up_to_date

    saves, given = Saves(), set[str]()
    sweep(folder)
    found = stamps(folder)
    for book, target in results(found).items():
        if as_of is None and up_to_date(book, target):
            saves.judged(book, found[book])
    click.echo(printable(f"Watching {folder}; {_what_ends_it()} ends it."))
    # Whatever wakes us, the folder is looked at as a whole: what changed does not matter here.
    for _ in _wakes(folder):
        found = stamps(folder)
        targets = results(found)
        for book in saves.ready(found, time.monotonic()):
            saves.judged(book, found[book])
            told = saves.waiting.pop(book, None) is not None
            if not _judge(book, found[book], targets[book], as_of, given, told):
                saves.again(book, time.monotonic() + AGAIN)


def _what_ends_it() -> str:
    """Ctrl-C, unless a shell lets this process, in the background, ignore it."""
    import os
    import signal

    ignored = signal.getsignal(signal.SIGINT) == signal.SIG_IGN
    return f"'kill {os.getpid()}'" if ignored else "Ctrl-C"


def _wakes(folder: Path) -> Iterator[None]:
    """One turn for each look at the folder: when something happens in it, and every LOOK [ms]."""
    import time

    from watchfiles import watch as wake

    turns = wake(
        folder, watch_filter=None, debounce=200, rust_timeout=LOOK, yield_on_timeout=True,
        recursive=False,
    )  # fmt: skip
    while True:
        try:
            next(turns)
        except (OSError, RuntimeError, StopIteration):
            # The system can tell of no more folders, or not of this one: the clock wakes us then.
            time.sleep(LOOK / 1000)
        yield


def _judge(
    book: Path,
    stamp: Stamp,
    target: Path,
    as_of: dt.date | None,
    given: set[str],
    told: bool = False,
) -> bool:
    """Judge one book as it was with this stamp, write its result, and say so in one line.

    Cautions that were not yet `given` follow it; each is printed once until the watch ends.
    False where it could not be read or its result not written; `told` where that was said already.
    """
    from siltbook.batch.many import Order, process_book
    from siltbook.batch.report.book import printable
    from siltbook.batch.watching import stamp_now

    outcome = process_book(Order(book, target, as_of))
    said, now = outcome.failure, stamp_now(book)
    if outcome.fault is not None:
        said = fault_said(book, outcome.fault)
    if said and now is None:
        said = f"{book.name}: was renamed or deleted before it was judged."
    elif said and now != stamp:
        return True  # saved again meanwhile: what it is now is judged when it has settled
    fresh: set[str] = set()
    if said and now is not None and outcome.passing:
        said = "" if told else f"{said} It is tried again every {AGAIN:.0f} seconds."
    elif not said:
        fresh = set(outcome.entry["cautions"]) - given
        given |= fresh
        verdicts = [str(s["verdict"]) for s in outcome.entry["stations"]]
        said = f"{book.name}: {summary(verdicts)} -> {target.name}"
    for line in filter(None, (said, *outcome.said)):
        click.echo(printable(f"{dt.datetime.now():%H:%M} {line}"))
    tell_cautions(fresh)
    return not outcome.passing


def summary(verdicts: list[str]) -> str:
    """What there is to do, most urgent first: '1 hand clean, 2 flush'; else that there is none."""
    from siltbook.batch.model import CALM
    from siltbook.templates.look import VERDICTS

    counts = Counter(v for v in verdicts if v not in CALM)
    said = [f"{counts[v]} {look.shown.lower()}" for v, look in VERDICTS.items() if counts[v]]
    return ", ".join(said) or "nothing to do now"
