"""The command that judges a book again whenever it is saved."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from pathlib import Path

import click

from batch.commands.shared import AS_OF, EXIT_BOOK, day, fail, refusals
from batch.errors import why

LOOK = 500  # [ms] between two looks at the folder, where nothing wakes us earlier


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@AS_OF
def watch(folder: Path, as_of: dt.datetime | None) -> None:
    """Judge each book in FOLDER whenever it is saved, until Ctrl-C.

    The result goes to NAME.reviewed.xlsx beside the book. Books saved since their last result
    are judged at the start. A book counts as saved when it has not changed for a second.
    """
    try:
        with refusals():
            _watch(folder, day(as_of))
    except KeyboardInterrupt:
        click.echo()
    except OSError as error:
        fail(f"{folder}: this folder cannot be watched ({why(error)}). Check its path.")
        raise click.exceptions.Exit(EXIT_BOOK) from error


def _watch(folder: Path, as_of: dt.date | None) -> None:
    import time

    from watchfiles import watch as wake

    from batch.files import reviewed_path, sweep
    from batch.watching import Saves, stamps, up_to_date

    saves = Saves()
    sweep(folder)
    for book, stamp in stamps(folder).items():
        if up_to_date(book, stamp, reviewed_path(book, None, set())):
            saves.judged(book, stamp)
    click.echo(f"Watching {folder}; Ctrl-C ends it.")
    # Whatever wakes us, the folder is looked at as a whole: what changed does not matter here.
    for _ in wake(
        folder, watch_filter=None, debounce=200, rust_timeout=LOOK, yield_on_timeout=True,
        recursive=False,
    ):  # fmt: skip
        now = stamps(folder)
        for book in saves.ready(now, time.monotonic()):
            saves.judged(book, now[book])
            _judge(book, as_of)


def _judge(book: Path, as_of: dt.date | None) -> None:
    """Judge one book, write its result, and say so in one line."""
    from batch.files import reviewed_path
    from batch.many import Order, fulfil
    from batch.report.book import printable

    target = reviewed_path(book, None, set())
    outcome = fulfil(Order(book, target, as_of))
    at = dt.datetime.now().strftime("%H:%M")
    if outcome.failure:
        said = f"{at} {outcome.failure}"
    else:
        verdicts = [str(s["verdict"]) for s in outcome.entry["stations"]]
        said = f"{at} {book.name}: {summary(verdicts)} -> {target.name}"
    click.echo(printable(said))


def summary(verdicts: list[str]) -> str:
    """What there is to do, most urgent first: '1 hand clean, 2 flush'; else that there is none."""
    from batch.model import CALM
    from templates.look import VERDICTS

    counts = Counter(v for v in verdicts if v not in CALM)
    said = [f"{counts[v]} {look.shown.lower()}" for v, look in VERDICTS.items() if counts[v]]
    return ", ".join(said) or "nothing to do now"
