"""Many books: one after the other, on several processes, or on a cluster.

Wherever a book is judged, its bytes are read here and its result is written here, in the order
of the books. Workers get bytes and hand back bytes: one that dies can neither lose a book nor
write one twice. Only a few books are under way at once, so memory does not grow with their number.
"""

from __future__ import annotations

import datetime as dt
import os
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from siltbook.batch.errors import SiltbookError, naming, too_large
from siltbook.batch.fault import Fault, fault_of

if TYPE_CHECKING:
    from siltbook.batch.files import OpenedFile
    from siltbook.batch.typed.boxes import Box

AHEAD = 4  # books under way for each worker: enough to keep it busy, few enough for memory


@dataclass(frozen=True)
class Order:
    """One book to judge: where it is, and where its result goes (None: in its own place)."""

    path: Path
    target: Path | None
    as_of: dt.date | None


@dataclass(frozen=True)
class Job:
    """What a worker gets: a book's bytes and the words it needs; no path that it could follow."""

    data: bytes
    path: str
    name: str
    written: str
    as_of: dt.date | None
    boxes: tuple[Box, ...] = ()  # filled in on Actions of the result that is there


@dataclass(frozen=True)
class Judged:
    """What a worker hands back: the book with its results, and what to say of it.

    `ended` are the filled boxes of Actions that are on no sheet any more.
    """

    package: bytes
    entry: dict[str, Any]
    lines: tuple[str, ...] = ()
    failure: str = ""
    fault: Fault | None = None
    ended: tuple[Box, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """What became of one order: the `--json` entry and the terminal's lines, or why it failed.

    `said` are the lines on what somebody typed into results, `notes` those on what was not seen of
    the book; `passing`: the system did not let the book be read or its result be written, which may
    go otherwise later.
    """

    path: Path
    entry: dict[str, Any]
    lines: tuple[str, ...] = ()
    failure: str = ""
    fault: Fault | None = None  # of the program; `failure` is its sentence then
    said: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    passing: bool = False


Judge = Callable[[Job], Judged]
Done = Callable[["Future[Judged]", Order], Judged]


def judge(job: Job) -> Judged:
    """Judge one book's bytes; touches no file. Every failure is in what comes back."""
    from siltbook.batch.guard import within

    try:
        judged: Judged = within(f"{__name__}:judge_whole", job.data, job.name, job)
        return judged
    except SiltbookError as error:
        return Judged(b"", {}, failure=naming(Path(job.path), str(error)))
    except MemoryError:
        return Judged(b"", {}, failure=too_large(job.path))
    except Exception as error:  # the last resort: one book never stops the others
        fault = fault_of(error)
        return Judged(b"", {}, failure=fault.said(job.path), fault=fault)


def judge_whole(job: Job) -> Judged:
    """The same in the process that does the work; raises whatever goes wrong."""
    from siltbook.batch.job import review_bytes
    from siltbook.batch.report.book import book_json, short_table
    from siltbook.batch.typed.stamp import stamped

    reviewed = review_bytes(job.data, job.path, job.name, job.as_of, job.boxes)
    lines = (*short_table(reviewed.assessment, job.path), f"  Result: {job.written}")
    entry = book_json(reviewed.assessment, job.path, job.written)
    package, ended = reviewed.package, reviewed.ended
    del reviewed  # what was judged takes more room than all that is still to be done
    return Judged(stamped(package, job.name), entry, lines, ended=ended)


def process_book(order: Order) -> Outcome:
    """Judge one book and write its result; every failure becomes an outcome."""
    begun = _begin(order)
    if isinstance(begun, Outcome):
        return begun
    taken, job = begun
    return _end(order, taken, judge(job))


def _begin(order: Order) -> Outcome | tuple[OpenedFile, Job]:
    """The book's bytes and what a worker gets, or why they cannot be had."""
    from siltbook.batch.files import open_file

    path = order.path
    try:
        taken = open_file(path)
        return taken, _job(order, taken)
    except SiltbookError as error:
        passing = isinstance(error.__cause__, OSError) or not os.path.lexists(path)
        return Outcome(path, {}, failure=str(error), passing=passing)
    except MemoryError:
        return Outcome(path, {}, failure=too_large(path))
    except Exception as error:  # the last resort: one book never stops the others
        return _faulty(order, error)


def _job(order: Order, taken: OpenedFile) -> Job:
    from siltbook.batch.typed.keeping import boxes_in

    path = order.path
    boxes = boxes_in(order.target, path)
    return Job(taken.data, str(path), path.name, str(order.target or path), order.as_of, boxes)


def _end(order: Order, taken: OpenedFile, judged: Judged) -> Outcome:
    """Write what came of a book."""
    if judged.failure:
        return Outcome(order.path, {}, failure=judged.failure, fault=judged.fault)
    try:
        return _written(order, taken, judged)
    except SiltbookError as error:
        return Outcome(order.path, {}, failure=str(error), passing=True)
    except Exception as error:
        return _faulty(order, error)


def _written(order: Order, taken: OpenedFile, judged: Judged) -> Outcome:
    from siltbook.batch.files import lock_note
    from siltbook.batch.typed.keeping import put_result

    said = put_result(taken, order.target, judged.package, judged.ended)
    saved = _saved_since(order, taken)
    target = lock_note(order.target) if order.target else ""
    notes = tuple(filter(None, (saved, lock_note(order.path), target)))
    told = (*said.lines, *filter(None, [saved]))
    entry = judged.entry | ({"kept": str(said.kept), "kept_why": said.why} if said.kept else {})
    entry |= {"said": list(told)} if told else {}
    lines = (*judged.lines, *(f"  {line}" for line in (*said.lines, *notes)))
    return Outcome(order.path, entry, lines, said=said.lines, notes=notes)


def _saved_since(order: Order, taken: OpenedFile) -> str:
    """What to say where the book is no longer the one that was read; '' where it is."""
    from siltbook.batch.files import stamp_of

    if order.target is None:
        return ""  # it has just been replaced, and would not have been otherwise
    try:
        if stamp_of(order.path) == taken.stamp:
            return ""
        how = "was saved while it was judged, and the result is of the book before that: run again."
    except OSError:
        how = "was renamed or deleted while it was judged; the result is of the book as it was."
    return f"{order.path}: {how}"


def _faulty(order: Order, error: Exception) -> Outcome:
    fault = fault_of(error)
    return Outcome(order.path, {}, failure=fault.said(order.path), fault=fault)


def orders(
    paths: Sequence[Path],
    out: Path | None,
    in_place: bool,
    as_of: dt.date | None,
    made: str = "reviewed",
) -> list[Order]:
    """One order per book, with targets that do not collide. BookError where `out` is no folder."""
    from siltbook.batch.files import make_folder, sweep

    if out is not None:
        make_folder(out)
    used: set[Path] = set()
    todo = [Order(p, _target(p, out, in_place, used, made), as_of) for p in paths]
    for folder in {(order.target or order.path).parent for order in todo}:
        sweep(folder)
    return todo


def _target(
    path: Path, out: Path | None, in_place: bool, used: set[Path], made: str
) -> Path | None:
    """Where a book's result goes. Whoever goes on in a reviewed book gets it back in its place."""
    from siltbook.batch.files import OTHER_ENDINGS, reviewed_path
    from siltbook.batch.systems import same_name

    if in_place:
        return None
    goes_on = path.stem.casefold().endswith(".reviewed")
    # Into a reviewed book that was saved as .ods no results can be put: they go to a new file.
    if made != "reviewed" or not goes_on or path.suffix.lower() in OTHER_ENDINGS:
        return reviewed_path(path, out, used, made)
    target = path if out is None else out / path.name
    if target.resolve() == path.resolve():
        return None
    if same_name(target) in map(same_name, used):
        # Two of one name, of two folders: both go where they were asked to go.
        plain = path.with_name(f"{path.stem[: -len('.reviewed')]}{path.suffix}")
        return reviewed_path(plain, out, used)
    used.add(target)
    return target


def process_books(todo: Sequence[Order], jobs: int, how: Judge = judge) -> Iterator[Outcome]:
    """Outcomes in the order asked for; judged on `jobs` processes where that is more than one.

    A process that dies takes no book with it: the book is judged once more in a process of its
    own, and only one that ends that process too is given up, with a sentence that says so.
    """
    from siltbook.batch.child import workers_can_be_safe

    if jobs <= 1 or len(todo) <= 1 or not workers_can_be_safe():
        yield from map(process_book, todo)
        return
    from concurrent.futures.process import BrokenProcessPool

    rest = deque(todo)
    while rest:
        try:
            with _processes(min(jobs, len(rest), most_processes())) as pool:
                ahead = AHEAD * jobs
                yield from submit_in_order(pool, rest, ahead, how, lambda done, _: done.result())
        except BrokenProcessPool:
            with _processes(1) as pool:
                yield from submit_in_order(pool, deque([rest.popleft()]), 1, how, _last_try)


def _last_try(done: Future[Judged], order: Order) -> Judged:
    from concurrent.futures.process import BrokenProcessPool

    try:
        return done.result()
    except BrokenProcessPool:
        return Judged(b"", {}, failure=gave_up(order))


def gave_up(order: Order) -> str:
    """The sentence for a book that ended every process that judged it."""
    return (
        f"{order.path}: judging it ended the process more than once, so it was given up. Run it "
        "on its own, on a machine with more memory."
    )


@contextmanager
def _processes(jobs: int) -> Iterator[Executor]:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    from siltbook.batch.child import safe_workers

    # A fresh interpreter per worker: a fork would carry the parent's threads half over.
    spawn = get_context("spawn")
    with safe_workers(), ProcessPoolExecutor(jobs, spawn, initializer=_as_worker) as pool:
        yield pool


def most_processes(system: str = sys.platform) -> int:
    """How many workers a system can wait for at once: Windows waits for 63 things at most."""
    return 61 if system == "win32" else 4096


def _as_worker() -> None:
    """Ctrl-C reaches the whole group; the parent alone answers it."""
    import signal

    from siltbook.batch.child import at_ease

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    at_ease()


def submit_in_order(
    pool: Executor, rest: deque[Order], ahead: int, how: Judge, result: Done
) -> Iterator[Outcome]:
    """Outcomes of `rest` in its order, judged by `pool` with at most `ahead` books under way.

    Orders leave `rest` as they are done. What `result` raises ends it, with the order that
    raised it first in `rest`.
    """
    under_way: deque[Outcome | tuple[OpenedFile, Future[Judged]]] = deque()
    while rest:
        for order in list(islice(rest, len(under_way), ahead)):
            begun = _begin(order)
            if isinstance(begun, Outcome):
                under_way.append(begun)
            else:
                under_way.append((begun[0], pool.submit(how, begun[1])))
        order, first = rest[0], under_way.popleft()
        if not isinstance(first, Outcome):
            first = _end(order, first[0], result(first[1], order))
        rest.popleft()
        yield first
