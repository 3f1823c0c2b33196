"""The command `siltbook`, which `python -m siltbook` is as well."""

from __future__ import annotations

import os
import signal
import sys
from types import FrameType
from typing import NoReturn

# `-m` makes the current folder the first place to import from; nothing that lies there is run.
if sys.path and os.path.realpath(sys.path[0]) == os.path.realpath(os.curdir):
    del sys.path[0]

_STOPPED = b"siltbook: stopped by Ctrl-C; what was written is whole.\n"
_ENDED = 128 + signal.SIGTERM  # the exit code of who is told to end
_IMPORTING = "<frozen importlib._bootstrap>"


def stop(_: int, frame: FrameType | None) -> NoReturn:
    """Ctrl-C: an ordinary interrupt, but while something is imported the end, at once.

    Libraries that are interrupted half-way through their import raise whatever they like.
    """
    if _imports(frame):
        os.write(2, _STOPPED)
        os._exit(130)
    raise KeyboardInterrupt


def end(_: int, frame: FrameType | None) -> NoReturn:
    """`kill`, or the system that goes down: the end without a word, drafts and children gone."""
    if _imports(frame):
        os._exit(_ENDED)
    raise SystemExit(_ENDED)


def _imports(frame: FrameType | None) -> bool:
    while frame is not None:
        if frame.f_code.co_filename == _IMPORTING:
            return True
        frame = frame.f_back
    return False


def main() -> None:
    """Start the command line."""
    try:
        # In here, too: a Ctrl-C that came before is answered while the handler is put in place.
        # A shell lets what it starts in the background ignore it, and so do we.
        if signal.getsignal(signal.SIGINT) != signal.SIG_IGN:
            signal.signal(signal.SIGINT, stop)
        signal.signal(signal.SIGTERM, end)
        from siltbook.batch.cli import main as command

        command()
    except KeyboardInterrupt:  # before a command began, or behind its end
        os.write(2, _STOPPED)
        os._exit(130)


if __name__ == "__main__":
    main()
