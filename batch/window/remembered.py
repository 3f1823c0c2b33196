"""What the window remembers between two starts: the last folder, in a file of the user's own."""

from __future__ import annotations

import contextlib
import json
import os
import sys
from collections.abc import Mapping
from pathlib import Path

_NAME = "window.json"
_FOLDER = "folder"


def config_folder(
    system: str = sys.platform,
    environment: Mapping[str, str] = os.environ,
    home: Path | None = None,
) -> Path:
    """The user's folder for Siltbook's settings, by the custom of the system; not made here."""
    home = home or Path.home()
    if system == "win32":
        return Path(environment.get("APPDATA") or home / "AppData" / "Roaming") / "siltbook"
    if system == "darwin":
        return home / "Library" / "Application Support" / "siltbook"
    return Path(environment.get("XDG_CONFIG_HOME") or home / ".config") / "siltbook"


def last_folder(config: Path) -> Path | None:
    """The folder that was used last; None where none is known, it is gone, or the file damaged."""
    try:
        read = json.loads((config / _NAME).read_text(encoding="utf-8"))
        folder = Path(read[_FOLDER])
        return folder if folder.is_dir() else None
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None


def remember(config: Path, folder: Path) -> None:
    """Keep the folder for the next start; where that cannot be written, it is simply not kept."""
    with contextlib.suppress(OSError):
        config.mkdir(parents=True, exist_ok=True)
        draft = config / f"{_NAME}.new"
        draft.write_text(json.dumps({_FOLDER: str(folder.resolve())}), encoding="utf-8")
        draft.replace(config / _NAME)
