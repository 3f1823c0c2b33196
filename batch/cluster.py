"""Many books on an existing Dask cluster, through its executor interface.

The scheduler and its workers get bytes and hand back bytes; every file is read and written here.
A cluster can run code in this process's name and see every book: use only one that you trust.
"""

from __future__ import annotations

import warnings
from collections import deque
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from siltbook import __version__
from siltbook.batch.errors import SiltbookError
from siltbook.batch.many import (
    AHEAD,
    Judge,
    Judged,
    Order,
    Outcome,
    gave_up,
    judge,
    submit_in_order,
)

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

    from distributed import Client

PATIENCE = 10.0  # [s] to reach the scheduler, and to find a worker there
LOOK = 1.0  # [s] between two looks at whether a worker is left
_PIP = 'pip install "siltbook[cluster]"'


class ClusterError(SiltbookError):
    """The cluster cannot be used; one sentence that says why and what to do."""


def process_on_cluster(
    todo: Sequence[Order], address: str, how: Judge = judge
) -> Iterator[Outcome]:
    """Outcomes in the order asked for, judged on the cluster at `address`.

    A worker that dies loses no book: its books go to the others. A book whose workers die one
    after another is judged once more alone, and only one that ends them then too is given up,
    with a sentence. ClusterError where the cluster cannot be used or
    goes away; what was written until then is whole, and the other books are as they were.
    """
    try:
        import dask
        from distributed import KilledWorker
    except ImportError as error:
        raise ClusterError(
            f"--cluster needs the Dask library 'distributed', which is not installed: {_PIP}"
        ) from error

    rest = deque(todo)
    # Books are what is sent here: a large one is no mistake that would need a warning.
    no_warning = dask.config.set({"distributed.admin.large-graph-warning-threshold": "4GiB"})
    with no_warning, _client(address) as client:

        def last_try(done: Future[Judged], order: Order) -> Judged:
            try:
                return _wait(done, client)
            except KilledWorker:
                return Judged(b"", {}, failure=gave_up(order))

        try:
            while rest:
                try:
                    with _pool(client) as pool:
                        ahead = AHEAD * _threads(client)
                        yield from submit_in_order(
                            pool, rest, ahead, how, lambda done, _: _wait(done, client)
                        )
                except KilledWorker:  # by this book, or by one that shared its workers
                    with _pool(client) as pool:
                        alone = deque([rest[0]])
                        yield from submit_in_order(pool, alone, 1, how, last_try)
                    rest.popleft()
        except Exception as error:
            raise _lost(address, len(todo) - len(rest), len(todo), error) from error


@contextmanager
def _pool(client: Client) -> Iterator[Executor]:
    # Not pure: two books with the same bytes are still two books.
    pool: Executor = client.get_executor(pure=False)  # type: ignore[no-untyped-call]
    try:
        yield pool
    finally:
        pool.shutdown(wait=False)  # waiting for books without a worker would never end


def _wait(done: Future[Judged], client: Client) -> Judged:
    """The result when it is there; ClusterError where no worker is left to make it."""
    alone = 0.0
    while alone < PATIENCE:
        try:
            return done.result(timeout=LOOK)
        except TimeoutError:
            if done.done():
                raise
        alone = 0.0 if client.nthreads() else alone + LOOK  # type: ignore[no-untyped-call]
    raise ClusterError("no worker is left")


def _threads(client: Client) -> int:
    counts: dict[str, int] = client.nthreads()  # type: ignore[no-untyped-call]
    return max(1, sum(counts.values()))


def _lost(address: str, done: int, count: int, error: Exception) -> ClusterError:
    return ClusterError(
        f"{address}: the cluster failed after {done} of {count} books ({_short(error)}). What was "
        "written is whole; run the other books again."
    )


def _short(error: Exception) -> str:
    if isinstance(error, ClusterError):
        return str(error)
    return f"{type(error).__name__}: {error}".splitlines()[0][:200]


@contextmanager
def _client(address: str) -> Iterator[Client]:
    """A connection to a cluster whose workers run this very version; else ClusterError."""
    from distributed import Client

    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        try:
            client = Client(  # type: ignore[no-untyped-call]
                address, timeout=PATIENCE, set_as_default=False
            )
        except Exception as error:
            raise ClusterError(
                f"{address}: no Dask scheduler could be reached there ({_short(error)}). Check "
                "the address and that the scheduler runs."
            ) from error
    with client:
        _check(client, address, [str(w.message) for w in said])
        yield client


def _check(client: Client, address: str, warned: list[str]) -> None:
    """ClusterError unless there is a worker, and every one has the versions found here."""
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except TimeoutError as error:
        raise ClusterError(
            f"{address}: this scheduler has no worker. Start workers and run again."
        ) from error
    mismatch = [text for text in warned if "mismatch" in text.casefold()]
    if mismatch:
        differing = ", ".join(sorted(set(_packages(mismatch[0]))))
        raise ClusterError(
            f"{address}: the cluster has other versions of {differing} than this machine. Install "
            f"the same on both: {_PIP}"
        )
    found = client.run(siltbook_version, on_error="return")
    others = {str(v) for v in found.values() if v != __version__}
    if others:
        raise ClusterError(
            f"{address}: the workers have no Siltbook {__version__} ({min(others)[:200]}). "
            f"Install the same version on every worker: {_PIP}"
        )


def _packages(warning: str) -> list[str]:
    """The packages in Dask's table of differing versions."""
    rows = [line.split("|") for line in warning.splitlines() if line.startswith("|")]
    return [row[1].strip() for row in rows if len(row) > 2 and row[1].strip() != "Package"]


def siltbook_version() -> str:
    """The version of Siltbook where this is run."""
    return __version__
