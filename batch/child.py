"""Work in a process of its own, within limits of time and memory, where nothing that lies about
can be run.

A child is isolated (`python -I`): neither the current folder nor the folder of a script, nor a
variable of the environment, is a place to import from; it works in the interpreter's own folder.
It bounds itself where the system can, and is watched from outside everywhere.
"""

from __future__ import annotations

import contextlib
import importlib
import json
import os
import pickle
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from siltbook.batch.errors import SiltbookError, why

PATIENCE = 6  # clock to processor time that a busy machine is allowed
LOOK = 0.2  # [s] between two looks at a child
# What libraries map and do not use (code, stacks of threads) counts as address space.
_MAPPED = 2**30  # [bytes]
_BOOT = (
    "import json, sys; sys.path += [p for p in json.loads(sys.argv[1]) if p not in sys.path];"
    " from siltbook.batch.child import serve; serve()"
)
_inside = False  # whether this process is such a child


class EndlessError(Exception):
    """The child took more time or memory than it was allowed, or broke off."""


class FaultError(Exception):
    """The child met an error that nobody expected; the text is its traceback."""


@dataclass(frozen=True)
class Limits:
    """What a child may take."""

    seconds: float  # of processor time
    memory: int  # [bytes] in use


@dataclass(frozen=True)
class Spent:
    """What a child took."""

    seconds: float  # of processor time
    memory: int  # [bytes] at the peak; 0 where the system does not tell


@dataclass(frozen=True)
class Answer:
    """What a child hands back."""

    value: Any
    spent: Spent


def call(function: str, *arguments: Any, limits: Limits) -> Answer:
    """The answer of `function` ('package.module:name'), run in a child within `limits`.

    A SiltbookError of the function is raised here as it was there; EndlessError where the child
    went beyond a limit; FaultError for any other exception. A child asks no further child: there
    the function is simply called, within the limits that hold already.
    """
    if _inside:
        return Answer(resolve(function)(*arguments), Spent(0.0, 0))
    said = _run(pickle.dumps((function, arguments, limits)), limits)
    try:
        kind, value, spent = pickle.loads(said)
    except (pickle.UnpicklingError, EOFError, MemoryError, ValueError):
        raise EndlessError from None
    if kind == "memory":
        raise EndlessError
    if kind == "refused":
        raise value
    if kind == "fault":
        raise FaultError(value)
    return Answer(value, spent)


def safe_path() -> list[str]:
    """Where a child may import from: this process's absolute places without the current folder."""
    here = os.path.realpath(os.curdir)
    return [p for p in sys.path if os.path.isabs(p) and os.path.realpath(p) != here]


def workers_can_be_safe() -> bool:
    """Whether `safe_workers` reaches them: `python -E` lets them ignore the environment."""
    return not sys.flags.ignore_environment or bool(sys.flags.safe_path)


@contextlib.contextmanager
def safe_workers() -> Iterator[None]:
    """Processes that `multiprocessing` starts meanwhile do not import from the current folder.

    They are started as `python -c …`, whose first place to import from is the current folder,
    whatever the start method; so is the process that keeps track of their semaphores.
    """
    before = os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = before


def _run(request: bytes, limits: Limits) -> bytes:
    command = [sys.executable, "-I", "-X", "utf8", "-c", _BOOT, json.dumps(safe_path())]
    # One thread for sums: others would only reserve memory that the limit counts.
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    try:
        # Files and not pipes: neither side can wait for the other, however much they say.
        with tempfile.TemporaryFile() as asked, tempfile.TemporaryFile() as said:
            asked.write(request)
            asked.seek(0)
            with subprocess.Popen(
                command, stdin=asked, stdout=said, stderr=subprocess.DEVNULL,
                cwd=sys.base_prefix, env=environment,
            ) as process:  # fmt: skip
                try:
                    _watch(process, limits)
                finally:
                    process.kill()
            said.seek(0)
            return said.read()
    except OSError as error:
        raise SiltbookError(
            f"A process of its own could not be given the book ({why(error)}): check the space in "
            "the folder for temporary files, and run again."
        ) from error


def _watch(process: subprocess.Popen[bytes], limits: Limits) -> None:
    """Wait for the child's end; EndlessError where it goes beyond a limit."""
    begun = time.monotonic()
    while True:
        with contextlib.suppress(subprocess.TimeoutExpired):
            process.wait(LOOK)
            return
        if time.monotonic() - begun > PATIENCE * limits.seconds or _beyond(process.pid, limits):
            raise EndlessError


def _beyond(pid: int, limits: Limits) -> bool:
    """Whether a process has taken more than it may, as seen from outside."""
    import psutil

    try:
        seen = psutil.Process(pid)
        spent = seen.cpu_times()
        return bool(
            seen.memory_info().rss > limits.memory or spent.user + spent.system > limits.seconds
        )
    except psutil.Error:  # it has just ended, or the system does not tell
        return False


def serve() -> None:
    """The child: does what standard input asks and answers on standard output."""
    global _inside
    _inside = True
    # What a library may print must not get between the bytes of the answer.
    answer = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    function, arguments, limits = pickle.load(sys.stdin.buffer)
    bound(limits)
    at_ease()
    said = _answer(function, arguments)
    with answer:
        answer.write(said)


def _answer(function: str, arguments: tuple[Any, ...]) -> bytes:
    try:
        value = resolve(function)(*arguments)
        return pickle.dumps(("done", value, _spent()))
    except SiltbookError as error:
        return pickle.dumps(("refused", error, _spent()))
    except (MemoryError, RecursionError):
        return pickle.dumps(("memory", None, None))
    except Exception:
        import traceback

        return pickle.dumps(("fault", traceback.format_exc(), _spent()))


def at_ease() -> None:
    """Let this process look for garbage in cycles less often; for processes that are ours alone.

    A judged book is many small objects in no circle: a tenth of the time went into the search.
    """
    import gc

    gc.set_threshold(10_000, 10, 10)


def resolve(name: str) -> Any:
    """What a name of the form "package.module:name" stands for."""
    module, _, attribute = name.partition(":")
    return getattr(importlib.import_module(module), attribute)


def _spent() -> Spent:
    return Spent(time.process_time(), peak_memory())


def peak_memory() -> int:
    """The most memory [bytes] that this process has had in use; 0 where the system does not tell.

    Not `getrusage`: its figure may be that of the process that started this one.
    """
    with contextlib.suppress(OSError, StopIteration), open("/proc/self/status") as status:
        return next(int(line.split()[1]) * 1024 for line in status if line.startswith("VmHWM"))
    return 0


def bound(limits: Limits) -> None:
    """Bound this process's time and memory where the system can; the watch outside holds anyway."""
    try:
        import resource
    except ImportError:  # not on every system
        return
    seconds = int(limits.seconds + time.process_time()) + 1
    for what, most in (("RLIMIT_CPU", seconds), ("RLIMIT_AS", limits.memory + _MAPPED)):
        # Some systems know a limit and refuse to set it.
        with contextlib.suppress(OSError, ValueError, AttributeError):
            number = getattr(resource, what)
            _, hard = resource.getrlimit(number)
            resource.setrlimit(number, (most if hard < 0 else min(most, hard), hard))
