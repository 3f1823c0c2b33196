"""Where `siltbook-window` begins: a window, or one sentence where none can be drawn."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

NO_TK = (
    "this Python lacks tkinter, which draws the window. Install it: 'sudo apt install python3-tk' "
    "(Debian, Ubuntu), 'sudo dnf install python3-tkinter' (Fedora), 'brew install python-tk' "
    "(macOS); a Python that uv installs has it."
)
NO_SCREEN = (
    "there is no screen to draw a window on. Start it in a desktop session, or use 'siltbook run' "
    "in this terminal."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Open the window with the books or folders given; 3 where no window can be drawn."""
    given = [Path(word) for word in (sys.argv[1:] if arguments is None else arguments)]
    try:
        import tkinter
    except ImportError:
        return _refused(NO_TK)
    from siltbook.batch.window.remembered import config_folder
    from siltbook.batch.window.view import show

    try:
        show(given, config_folder())
    except tkinter.TclError as error:
        if "display" not in str(error):
            raise
        return _refused(NO_SCREEN)
    return 0


def _refused(sentence: str) -> int:
    if sys.stderr is not None:  # a program without a console has none on Windows
        print(f"siltbook-window: {sentence}", file=sys.stderr)
    return 3


if __name__ == "__main__":
    sys.exit(main())
