"""Processes of Siltbook that are forked from one which has imported everything.

A start and its imports cost more than what most tests ask of the process. A forked one is a
process of its own: its number, its group where that is asked, its folder, environment and files,
signals as they are at a start, and its end. What it is not: started. Python's own settings
(`-P`, PYTHON...) are those of the process that forks. Other tests start each kind in earnest.

Nothing is remembered for it of the book that was judged to import everything.
"""

from __future__ import annotations

import atexit
import contextlib
import functools
import gc
import importlib
import json
import os
import select
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from siltbook.batch import child
from tests.forked import Forked

if TYPE_CHECKING:
    import pytest

ROOT = Path(__file__).resolve().parents[1]
BOOK = ROOT / "sample_workbooks" / "all-in-psi.xlsx"
# As it is installed: these two come with the extra 'test' only, and take long to be imported.
PLAIN = "import sys; sys.modules.update(dict.fromkeys(('hypothesis', 'dask')))"
_BOOT = (
    f"{PLAIN}; import json; sys.path += [p for p in json.loads(sys.argv[1]) if p not in sys.path];"
    " from tests.warm import serve; serve(int(sys.argv[2]))"
)
_STREAMS = ("stdin", "stdout", "stderr")
# What commands import beyond what judging does.
_MORE = (
    "siltbook.batch.archive.folder", "siltbook.batch.audit.job", "siltbook.batch.cli",
    "siltbook.batch.reading.oldbook", "siltbook.batch.review.agree", "siltbook.batch.review.pack",
    "siltbook.batch.review.target", "siltbook.batch.watching", "watchfiles",
)  # fmt: skip


class Warm:
    """The process that forks; `start` is the processor time that a child saves by it [s]."""

    def __init__(self) -> None:
        """Start it."""
        self.line, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        places = json.dumps([*child.safe_path(), str(ROOT)])
        command = [sys.executable, "-I", "-X", "utf8", "-c", _BOOT, places, str(theirs.fileno())]
        one_thread = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stderr=subprocess.DEVNULL, cwd=sys.base_prefix,
            env=one_thread, pass_fds=[theirs.fileno()],
        )  # fmt: skip
        theirs.close()
        self.start = float(self.line.recv(40))

    @classmethod
    def of_another(cls, line_number: int) -> Warm:
        """The one of the process that had this one forked."""
        made = cls.__new__(cls)
        made.line = socket.socket(fileno=line_number)
        return made

    def popen(self, call: str, *arguments: str, **named: Any) -> Forked:
        """A process that calls 'package.module:name' with `arguments` as those of its command.

        Else as `subprocess.Popen`: stdin, stdout, stderr, text, cwd, env, start_new_session.
        `before` ('package.module:name' and strings) is called first. `forks`: it may have the
        children of its guard forked in its turn (`install_in_this_process`).
        """
        with contextlib.ExitStack() as open_here:
            pipes, files = {}, []
            for stream in _STREAMS:
                ours, theirs = _ends(named.get(stream), stream == "stdin", named.get("text"))
                files.append(open_here.enter_context(theirs))
                pipes |= {stream: ours} if ours else {}
            read, write = os.pipe()
            files.append(open_here.enter_context(os.fdopen(write, "wb")))
            files += [self.line] if named.get("forks") else []
            order = {"call": call, "arguments": arguments, "cwd": str(named.get("cwd", ROOT)),
                     "env": {**named.get("env", os.environ)}, "before": named.get("before"),
                     "session": named.get("start_new_session", False)}  # fmt: skip
            socket.send_fds(self.line, [json.dumps(order).encode()], [f.fileno() for f in files])
        return Forked([call, *arguments], read, pipes)

    def close(self) -> None:
        """End the process."""
        self.line.close()
        self.process.wait()


class _Forking:
    """What the guard asks of `subprocess`."""

    DEVNULL, TimeoutExpired = subprocess.DEVNULL, subprocess.TimeoutExpired

    def __init__(self, warm: Warm | None = None) -> None:
        self.warm = warm

    def Popen(self, _: list[str], **named: Any) -> Forked:  # noqa: N802
        return (self.warm or shared()).popen("siltbook.batch.child:serve", **named)


def install(monkeypatch: pytest.MonkeyPatch) -> None:
    """The guard's children of this test are forked."""
    monkeypatch.setattr(child, "subprocess", _Forking())


@functools.cache
def shared() -> Warm:
    """The one of this process."""
    return Warm()


def install_in_this_process() -> None:
    """The guard's children of this process are forked, if it was forked with `forks`, till its end.

    Nothing where it was not.
    """
    with contextlib.suppress(OSError):
        child.subprocess = _Forking(Warm.of_another(len(_STREAMS)))  # type: ignore[assignment]


def close_shared() -> None:
    """End it, where there is one."""
    if shared.cache_info().currsize:
        shared().close()
        shared.cache_clear()


def process(
    call: str, *arguments: str, really: bool = False, before: tuple[str, ...] = (), **named: Any
) -> subprocess.Popen[Any] | Forked:
    """A process that calls 'package.module:name' with `arguments` as those of its command.

    Forked where Linux can, or `really` started. `before` is called in it first: a name like the
    other, and strings for it. Else as `subprocess.Popen`, in the checkout.
    """
    named = {"cwd": ROOT, **named}
    if sys.platform == "linux" and not really:
        return shared().popen(call, *arguments, before=before, **named)
    code = f"{PLAIN}; from siltbook.batch.child import resolve; "
    if before:
        code += f"resolve({before[0]!r})(*{before[1:]!r}); "
    return subprocess.Popen([sys.executable, "-c", f"{code}resolve({call!r})()", *arguments],
                            **named)  # fmt: skip


def _ends(asked: Any, is_input: bool, text: bool | None) -> tuple[Any, Any]:
    """Our end of a stream, where it is a pipe, and the one of the process."""
    if asked == subprocess.PIPE:
        read, write = os.pipe()
        ours, theirs = (write, read) if is_input else (read, write)
        way = f"{'w' if is_input else 'r'}{'' if text else 'b'}"
        mine = os.fdopen(ours, way, encoding="utf-8" if text else None)
        return mine, os.fdopen(theirs, "rb" if is_input else "wb")
    if asked in (None, subprocess.DEVNULL):
        asked_for = os.open(os.devnull, os.O_RDWR)
    else:
        asked_for = os.dup(asked.fileno())
    return None, os.fdopen(asked_for, "rb" if is_input else "wb")


def serve(line_number: int) -> None:
    """Import what is needed, by judging; then a process for each message."""
    import_everything()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # who started us ends us
    woken, wake = os.pipe()
    for end in (woken, wake):
        os.set_blocking(end, False)
    signal.set_wakeup_fd(wake, warn_on_full_buffer=False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    line = socket.socket(fileno=line_number)
    line.send(str(time.process_time()).encode())
    running: dict[int, int] = {}
    while True:
        ready = select.select([line, woken], [], [])[0]
        if woken in ready:
            os.read(woken, 4096)
            _say_who_ended(running)
        if line not in ready:
            continue
        message, files, *_ = socket.recv_fds(line, 2**20, len(_STREAMS) + 2)
        if not message:
            return
        pid = os.fork()
        if pid == 0:
            signal.set_wakeup_fd(-1)
            _be(json.loads(message), files)
            return
        running[pid] = files.pop(len(_STREAMS))
        for file in files:
            os.close(file)


@functools.cache
def import_everything() -> None:
    """Whatever a command imports, by judging a book, of which nothing is remembered."""
    from siltbook.batch.many import Job, judge
    from tests.lean import few_rows

    few_rows()
    assert judge(Job(BOOK.read_bytes(), "warm.xlsx", "warm.xlsx", "out.xlsx", None)).package
    for name in _MORE:
        importlib.import_module(name)
    found = (o for o in gc.get_objects() if isinstance(o, functools._lru_cache_wrapper))
    for remembering in (o for o in found if o.__module__.startswith("siltbook")):
        remembering.cache_clear()
    gc.collect()
    gc.freeze()  # looked at by no child, and so not copied for it


def _say_who_ended(running: dict[int, int]) -> None:
    with contextlib.suppress(ChildProcessError):
        while True:
            pid, status = os.waitpid(-1, os.WNOHANG)
            if not pid:
                return
            with contextlib.suppress(BrokenPipeError):  # nobody waits for it
                os.write(running[pid], status.to_bytes(4, "big"))
            os.close(running.pop(pid))


def _be(order: dict[str, Any], files: list[int]) -> None:
    """Become the process that is asked for, and do what it does."""
    if order["session"]:
        os.setsid()
    os.write(files.pop(len(_STREAMS)), os.getpid().to_bytes(4, "big"))
    for number, file in enumerate(files):  # none of these is one of the numbers that come
        os.dup2(file, number)
    os.closerange(len(files), 256)
    for number in (signal.SIGCHLD, signal.SIGTERM):
        signal.signal(number, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    os.chdir(order["cwd"])
    os.environ.clear()
    os.environ.update(order["env"])
    tempfile.tempdir = None  # it is looked for anew
    plain: dict[str, Any] = {"encoding": "utf-8", "closefd": False}
    sys.stdin = sys.__stdin__ = os.fdopen(0, **plain)
    sys.stdout = sys.__stdout__ = os.fdopen(1, "w", **plain)
    sys.stderr = sys.__stderr__ = os.fdopen(2, "w", 1, errors="backslashreplace", **plain)
    sys.argv[1:] = order["arguments"]
    if order["before"]:
        name, *given = order["before"]
        _named(name)(*given)
    code: Any = 0
    try:
        _named(order["call"])()
    except SystemExit as end:
        code = end.code
    _end(code)  # any other exception is left to Python


def _end(code: Any) -> None:
    """As an interpreter ends, but that no memory is handed back piece by piece."""
    if code is not None and not isinstance(code, int):
        print(code, file=sys.stderr)
    threading._shutdown()
    atexit._run_exitfuncs()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code if isinstance(code, int) else int(code is not None))


def _named(name: str) -> Callable[..., Any]:
    found: Callable[..., Any] = child.resolve(name)
    return found
