"""Many books: one after the other, or on several processes; one bad book never stops the rest."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from batch.errors import BookError, SiltbookError


@dataclass(frozen=True)
class Order:
    """One book to judge: where it is, and where its result goes (None: in its own place)."""

    path: Path
    target: Path | None
    as_of: dt.date | None


@dataclass(frozen=True)
class Outcome:
    """What became of one order: the `--json` entry and the terminal's lines, or why it failed."""

    path: Path
    entry: dict[str, Any]
    lines: tuple[str, ...] = ()
    failure: str = ""


def fulfil(order: Order) -> Outcome:
    """Judge one book and write its result; every expected failure becomes an outcome."""
    from batch.files import replace_book, take, write_whole
    from batch.job import review_bytes
    from batch.report import book_json, short_table

    path = order.path
    try:
        taken = take(path)
        reviewed = review_bytes(taken.data, str(path), path.name, order.as_of)
        if order.target is None:
            replace_book(taken, reviewed.package)
        else:
            write_whole(order.target, reviewed.package)
    except SiltbookError as error:
        return Outcome(path, {}, failure=str(error))
    except MemoryError:
        return Outcome(path, {}, failure=f"{path}: too large for this machine's memory.")
    written = str(order.target or path)
    lines = (*short_table(reviewed.assessment, str(path)), f"  Result: {written}")
    return Outcome(path, book_json(reviewed.assessment, str(path), written), lines)


def orders(
    paths: Sequence[Path], out: Path | None, in_place: bool, as_of: dt.date | None
) -> list[Order]:
    """One order per book, with targets that do not collide. BookError where `out` is no folder."""
    from batch.files import reviewed_path

    if out is not None:
        try:
            out.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = error.strerror or str(error)
            raise BookError(f"{out}: cannot be made ({reason}). Choose another folder.") from error
    used: set[Path] = set()
    return [Order(p, None if in_place else reviewed_path(p, out, used), as_of) for p in paths]


def fulfil_all(todo: Sequence[Order], jobs: int) -> Iterator[Outcome]:
    """Outcomes in the order asked for; on `jobs` processes where that is more than one.

    A process that dies takes no book with it: the orders it left are done again here, which is
    safe because a result is either written whole or not at all.
    """
    if jobs <= 1 or len(todo) <= 1:
        yield from map(fulfil, todo)
        return
    from concurrent.futures import ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    # A fresh interpreter per worker: a fork would carry the parent's threads half over.
    with ProcessPoolExecutor(min(jobs, len(todo)), mp_context=get_context("spawn")) as pool:
        futures = [pool.submit(fulfil, order) for order in todo]
        for order, future in zip(todo, futures, strict=True):
            try:
                yield future.result()
            except BrokenProcessPool:
                yield fulfil(order)
