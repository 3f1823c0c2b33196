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
_IMPORTING = "<frozen importlib._bootstrap>"


def stop(_: int, frame: FrameType | None) -> NoReturn:
    """Ctrl-C: an ordinary interrupt, but while something is imported the end, at once.

    Libraries that are interrupted half-way through their import raise whatever they like.
    """
    while frame is not None:
        if frame.f_code.co_filename == _IMPORTING:
            os.write(2, _STOPPED)
            os._exit(130)
        frame = frame.f_back
    raise KeyboardInterrupt


def main() -> None:
    """Start the command line."""
    try:
        # In here, too: a Ctrl-C that came before is answered while the handler is put in place.
        signal.signal(signal.SIGINT, stop)
        from siltbook.batch.cli import main as command

        command()
    except KeyboardInterrupt:  # before a command began, or behind its end
        os.write(2, _STOPPED)
        os._exit(130)


if __name__ == "__main__":
    main()
