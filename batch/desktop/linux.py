"""The icon on Linux: desktop entries and a picture.

By the Desktop Entry Specification (freedesktop.org; keys, quoting of Exec, field code %F), the XDG
Base Directory Specification, and the file `user-dirs.dirs` of xdg-user-dirs.
"""

from __future__ import annotations

import re
from pathlib import Path

from siltbook.batch.desktop.machine import Machine, program
from siltbook.batch.desktop.pieces import Place, make_room, refuse_others
from siltbook.batch.errors import BookError
from siltbook.batch.files import write_whole
from siltbook.batch.window import icon

_NAME = "siltbook.desktop"
_EXECUTABLE = 0o755  # desktops start only entries that are marked so
_STRING = {"\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}
_ASKS = (
    "A desktop that does not start it yet: right-click the icon and choose Allow Launching, or"
    " Trust."
)


def places(machine: Machine) -> list[Place]:
    """Where the pieces go: the picture, the menu's entry, the desktop's where there is one."""
    data = Path(machine.environment.get("XDG_DATA_HOME") or machine.home / ".local" / "share")
    found = [
        Place("Picture", data / "siltbook" / "siltbook.png"),
        Place("Menu", data / "applications" / _NAME),
    ]
    desktop = _desktop(machine)
    return found if desktop is None else [*found, Place("Desktop", desktop / _NAME)]


def add(machine: Machine) -> list[str]:
    """Put the icon in its places; a line for each."""
    window = program(machine, "siltbook-window")
    wanted = places(machine)
    refuse_others(wanted)
    picture, *entries = wanted
    _refuse_path(window)
    data = entry(window, picture.path).encode()
    make_room(picture.path.parent)
    write_whole(picture.path, icon.png(256))
    for place in entries:
        make_room(place.path.parent)
        write_whole(place.path, data)
        place.path.chmod(_EXECUTABLE)
    said = [f"{place.called}: {place.path}" for place in entries]
    if len(entries) == 1:
        return [*said, "There is no desktop folder, so the icon is in the menu alone."]
    return [*said, _ASKS]


def entry(window: Path, picture: Path) -> str:
    """The desktop entry that starts `window` with what is dropped on it.

    No MimeType: a desktop would take the first program that names one for its default, and open
    every workbook with Siltbook from then on.
    """
    lines = (
        "[Desktop Entry]",
        "Type=Application",
        "Version=1.0",
        "Name=Siltbook",
        "Comment=Judge the filter stations of a workbook",
        f"Exec={_string(_argument(str(window)))} %F",
        f"TryExec={_string(str(window))}",
        f"Icon={_string(str(picture))}",
        "Terminal=false",
        "Categories=Office;Spreadsheet;",
        "StartupWMClass=Siltbook",
        f"X-Siltbook={icon.MARK.decode()}",
    )
    return "\n".join(lines) + "\n"


def _argument(word: str) -> str:
    """A word of a command in quotation marks."""
    return '"' + re.sub(r'(["`$\\])', r"\\\1", word) + '"'


def _string(value: str) -> str:
    return "".join(_STRING.get(letter, letter) for letter in value)


def _refuse_path(window: Path) -> None:
    """BookError for a path that not every desktop starts: GLib looks for 'a%%b', not for 'a%b'."""
    path = str(window)
    if "%" in path or path.encode(errors="replace").decode() != path:
        raise BookError(
            f"{path}: its path has a percent sign or bytes that are no text, which not every"
            " desktop can start. Install Siltbook in another folder."
        )


def _desktop(machine: Machine) -> Path | None:
    """The folder that is shown as desktop, by the person's own settings; None where none is."""
    config = Path(machine.environment.get("XDG_CONFIG_HOME") or machine.home / ".config")
    folder = machine.home / "Desktop"
    try:
        settings = (config / "user-dirs.dirs").read_text(encoding="utf-8")
    except (OSError, ValueError):
        settings = ""
    for told in re.findall(r'^\s*XDG_DESKTOP_DIR="(.*)"\s*$', settings, re.MULTILINE):
        path = re.sub(r"\\(.)", r"\1", told)
        home = path == "$HOME" or path.startswith("$HOME/")
        folder = machine.home / path[6:] if home else Path(path)
    shown = folder.is_absolute() and folder.is_dir() and folder != machine.home
    return folder if shown else None
