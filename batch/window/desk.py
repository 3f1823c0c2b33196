"""The window's worker: one thread that judges and makes, one thing after the other.

The window only puts in what is asked for and takes events out, so that it never stands still.
Books are judged by `many.process_book`, as `siltbook run` and `siltbook watch` judge them.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from siltbook.batch.errors import SiltbookError
from siltbook.batch.watching import Saves, Stamp, results, stamp_now, stamps
from siltbook.batch.window.events import Event, Failed, Idle, Made, Progress, Row, row_of

LOOK = 0.5  # [s] between two looks at a watched folder
AGAIN = 10.0  # [s] after which what could not be read or written is tried again


@dataclass
class _Watched:
    """A folder under watch, and what is known of the saves in it."""

    folder: Path
    saves: Saves = field(default_factory=Saves)


class Desk:
    """Takes what is asked for and gives `events`; `close` ends it after what is under way."""

    def __init__(self, look: float = LOOK) -> None:
        self.events: queue.Queue[Event] = queue.Queue()
        self._asked: queue.Queue[Callable[[], None] | None] = queue.Queue()
        self._watched: _Watched | None = None
        self._known: dict[Path, Stamp] = {}  # books as they were when their row was told
        self._look = look
        self._thread = threading.Thread(target=self._work, name="desk", daemon=True)
        self._thread.start()

    def judge(self, paths: Sequence[Path]) -> None:
        """Judge the books, and those in the folders; a row for each, whatever becomes of it."""
        self._asked.put(lambda: self._judge_all(tuple(paths)))

    def make(self, what: str, how: Callable[[], Made | Failed]) -> None:
        """Make a paper by one of the functions of `papers`."""
        self._asked.put(lambda: self._make(what, how))

    def watch(self, folder: Path, told: Iterable[Path] = ()) -> None:
        """Judge the folder's books now, and each again when it is saved.

        Of those in `told`, whose rows still stand, only what has changed since is judged now.
        """
        there = frozenset(told)
        self._asked.put(lambda: self._begin(folder, there))

    def unwatch(self) -> None:
        """Look at no folder any more."""
        self._asked.put(self._end)

    def close(self, patience: float = 0.0) -> None:
        """End behind what is under way; waits `patience` [s] for it."""
        self._asked.put(None)
        self._thread.join(patience)

    def _work(self) -> None:
        while True:
            try:
                task = self._asked.get(timeout=self._look if self._watched else None)
            except queue.Empty:
                self._try(self._look_round)
                continue
            if task is None:
                return
            self._try(task)
            if self._asked.empty():
                self.events.put(self._idle())

    def _idle(self) -> Idle:
        return Idle(self._watched.folder if self._watched else None)

    def _try(self, task: Callable[[], None]) -> None:
        """Whatever goes wrong is a sentence; the worker goes on."""
        try:
            task()
        except SiltbookError as error:
            self.events.put(Failed(str(error)))
        except Exception as error:
            from siltbook.batch.fault import fault_of

            self.events.put(Failed(fault_of(error).said("What was asked for")))

    def _make(self, what: str, how: Callable[[], Made | Failed]) -> None:
        self.events.put(Progress(0, 1, what))
        self.events.put(how())

    def _judge_all(self, paths: tuple[Path, ...]) -> None:
        from siltbook.batch.files import find_books
        from siltbook.batch.many import orders

        refused: list[tuple[Path, str]] = []
        todo = orders(find_books(paths, refused), None, False, None)
        for path, sentence in refused:
            self.events.put(Row(path, failure=sentence))
        for number, order in enumerate(todo):
            self.events.put(Progress(number, len(todo), order.path.name))
            self._judge(order.path, order.target or order.path, order.target is None, noted=True)

    def _judge(self, book: Path, target: Path, in_place: bool = False, noted: bool = False) -> bool:
        """Judge one book and tell its row; False where that may go later.

        `noted`: with what is to be said of its state; a watch looks again at every save.
        """
        from siltbook.batch.many import Order, process_book

        before = stamp_now(book)
        outcome = process_book(Order(book, None if in_place else target, None))
        if outcome.failure:
            left = target if target.exists() and not in_place else None
            self.events.put(Row(book, left, failure=outcome.failure))
            self._known.pop(book, None)
        else:
            row = row_of(book, target, outcome.entry, outcome.said)
            self.events.put(replace(row, notes=outcome.notes) if noted else row)
            if before is not None:
                self._known[book] = before
        return not outcome.passing

    def _begin(self, folder: Path, told: frozenset[Path]) -> None:
        from siltbook.batch.files import sweep

        sweep(folder)
        found = stamps(folder)
        self._watched = _Watched(folder)
        for number, (book, target) in enumerate(results(found).items()):
            unchanged = self._known.get(book) == found[book]
            if book in told and unchanged and target.exists():
                self._watched.saves.judged(book, found[book])
                continue
            self.events.put(Progress(number, len(found), book.name))
            self._again(self._watched, book, target)

    def _end(self) -> None:
        self._watched = None

    def _look_round(self) -> None:
        """Judge what was saved since the last look; a folder that is gone is watched no more."""
        watched = self._watched
        if watched is None:
            return
        try:
            found = stamps(watched.folder)
        except SiltbookError:
            self._watched = None
            self.events.put(self._idle())
            raise
        targets = results(found)
        ready = watched.saves.ready(found, time.monotonic())
        for number, book in enumerate(ready):
            self.events.put(Progress(number, len(ready), book.name))
            watched.saves.waiting.pop(book, None)
            self._again(watched, book, targets[book])
        if ready:
            self.events.put(self._idle())

    def _again(self, watched: _Watched, book: Path, target: Path) -> None:
        """Judge a book of the watched folder as it is now, and note it."""
        if (stamp := stamp_now(book)) is None:
            return
        watched.saves.judged(book, stamp)
        if not self._judge(book, target):
            watched.saves.again(book, time.monotonic() + AGAIN)
