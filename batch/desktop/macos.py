"""The icon on macOS: an application that hands what is dropped on it to the window.

It is a droplet, as Apple's Mac Automation Scripting Guide ('Processing Dropped Files and Folders')
describes it: a script with the handlers `run` and `open`, made into an application by the
system's own osacompile, and signed for this machine by its codesign. A bundle around a shell
script would start as well, but gets no files that are dropped on it.
"""

from __future__ import annotations

import os
import shlex
import tempfile
from pathlib import Path

from siltbook.batch.desktop.machine import Machine, program
from siltbook.batch.desktop.pieces import (
    Place,
    bundle_mark,
    make_room,
    refuse_others,
    take_away,
)
from siltbook.batch.errors import BookError, why
from siltbook.batch.window import icon

_COMPILE = "/usr/bin/osacompile"
_SIGN = "/usr/bin/codesign"
_QUIET = " > /dev/null 2>&1 &"  # a script waits for what it starts, unless that is behind it


def places(machine: Machine) -> list[Place]:
    """Where the pieces go: the application, and a link to it on the desktop."""
    return [
        Place("Applications", machine.home / "Applications" / "Siltbook.app"),
        Place("Desktop", machine.home / "Desktop" / "Siltbook.app"),
    ]


def add(machine: Machine) -> list[str]:
    """Put the icon in its places; a line for each."""
    window = program(machine, "siltbook-window")
    wanted = places(machine)
    refuse_others(wanted)
    application, desktop = (place.path for place in wanted)
    make_room(application.parent)
    with tempfile.TemporaryDirectory(prefix=".siltbook-", dir=application.parent) as folder:
        made = _made(machine, window, Path(folder))
        take_away(wanted)
        try:
            os.rename(made, application)
            if desktop.parent.is_dir():
                desktop.symlink_to(application, target_is_directory=True)
        except OSError as error:
            raise BookError(
                f"{application}: cannot be put in its place ({why(error)}). Check the permissions."
            ) from error
    return [f"{place.called}: {place.path}" for place in wanted if os.path.lexists(place.path)]


def script(window: Path) -> str:
    """The droplet's script: starts `window` alone, or with the paths of what was dropped."""
    command = _text(shlex.quote(str(window)))
    return f"""-- {icon.MARK.decode()}
on run
    do shell script {command} & {_text(_QUIET)}
end run

on open theItems
    set theCommand to {command}
    repeat with oneItem in theItems
        set theCommand to theCommand & " " & quoted form of POSIX path of oneItem
    end repeat
    do shell script theCommand & {_text(_QUIET)}
end open
"""


def _text(words: str) -> str:
    """Words as a literal of the script's language."""
    return '"' + words.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _made(machine: Machine, window: Path, folder: Path) -> Path:
    """The finished application in a folder of its own."""
    source, bundle = folder / "Siltbook.applescript", folder / "Siltbook.app"
    source.write_text(script(window), encoding="utf-8")
    machine.run([_COMPILE, "-o", str(bundle), str(source)], {})
    mark = bundle_mark(bundle)
    mark.write_bytes(icon.MARK)
    for picture in mark.parent.glob("*.icns"):
        picture.write_bytes(icon.icns())
    # What was added to it broke the signature that it was made with.
    machine.run([_SIGN, "--force", "--sign", "-", str(bundle)], {})
    return bundle
