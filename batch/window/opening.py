"""Opening a file or a folder with the program that the system has for it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from siltbook.batch.errors import BookError, why


def command_for(path: Path, system: str = sys.platform) -> list[str]:
    """The words that open a path on macOS and Linux."""
    return ["open" if system == "darwin" else "xdg-open", str(path.resolve())]


def open_path(path: Path, system: str = sys.platform) -> None:
    """Open the path; BookError where it is gone or the system has no program for it."""
    if not path.exists():
        raise BookError(f"{path}: is not there any more. Judge the book again.")
    try:
        if system == "win32":
            import os

            os.startfile(path)  # type: ignore[attr-defined, unused-ignore]
        else:
            subprocess.Popen(
                command_for(path, system), stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL, start_new_session=True,
            )  # fmt: skip
    except OSError as error:
        raise BookError(
            f"{path}: could not be opened ({why(error)}). Open it from its folder."
        ) from error
