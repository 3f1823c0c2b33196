"""The icon on Windows: shortcuts that Windows itself writes, and a picture.

The script runs in the system's own PowerShell and asks the Windows Script Host for a shortcut
(Microsoft's documentation of `WshShell.CreateShortcut` and of `Environment.GetFolderPath`). What
it needs is handed to it by variables, so that no path is ever part of a command. A program that a
shortcut leads to gets what is dropped on the shortcut as its arguments.
"""

from __future__ import annotations

import base64
from pathlib import Path

from siltbook.batch.desktop.machine import Machine, program
from siltbook.batch.desktop.pieces import Place, make_room, refuse_others
from siltbook.batch.errors import BookError
from siltbook.batch.files import write_whole
from siltbook.batch.window import icon

_NAME = "Siltbook.lnk"
_POWERSHELL = ("System32", "WindowsPowerShell", "v1.0", "powershell.exe")
FOLDERS = """
$ErrorActionPreference = 'Stop'
foreach ($name in 'Programs', 'Desktop') {
  $path = [Environment]::GetFolderPath($name)
  [Convert]::ToBase64String([Text.Encoding]::UTF8.GetBytes($path))
}
"""
# Read back at the end: the Script Host replaces letters that the system's code page lacks.
WRITE = """
$ErrorActionPreference = 'Stop'
$shell = New-Object -ComObject WScript.Shell
$link = $shell.CreateShortcut($env:SILTBOOK_LINK)
$link.TargetPath = $env:SILTBOOK_PROGRAM
$link.WorkingDirectory = $env:SILTBOOK_HOME
$link.IconLocation = $env:SILTBOOK_ICON + ',0'
$link.Description = $env:SILTBOOK_MARK
$link.Save()
$read = $shell.CreateShortcut($env:SILTBOOK_LINK)
if ($read.TargetPath -ne $env:SILTBOOK_PROGRAM) { throw 'the path of the program did not fit' }
"""


def places(machine: Machine) -> list[Place]:
    """Where the pieces go: the picture, the start menu, the desktop (which may lie elsewhere)."""
    local = machine.environment.get("LOCALAPPDATA") or machine.home / "AppData" / "Local"
    lines = _powershell(machine, FOLDERS, {}).split()
    try:
        programs, desktop = (base64.b64decode(line).decode("utf-8") for line in lines)
    except ValueError:
        programs = desktop = ""
    if not programs or not desktop:
        raise BookError(
            "Windows did not say where your desktop and your start menu are. Make a shortcut to"
            " siltbook-window.exe by hand."
        )
    return [
        Place("Picture", Path(local) / "siltbook" / "siltbook.ico"),
        Place("Start menu", Path(programs) / _NAME),
        Place("Desktop", Path(desktop) / _NAME),
    ]


def add(machine: Machine) -> list[str]:
    """Put the icon in its places; a line for each."""
    window = program(machine, "siltbook-window")
    wanted = places(machine)
    refuse_others(wanted)
    picture, *links = wanted
    make_room(picture.path.parent)
    write_whole(picture.path, icon.ico())
    for place in links:
        make_room(place.path.parent)
        _powershell(machine, WRITE, {
            "SILTBOOK_LINK": str(place.path), "SILTBOOK_PROGRAM": str(window),
            "SILTBOOK_HOME": str(machine.home), "SILTBOOK_ICON": str(picture.path),
            "SILTBOOK_MARK": icon.MARK.decode(),
        })  # fmt: skip
    return [f"{place.called}: {place.path}" for place in links]


def _powershell(machine: Machine, script: str, values: dict[str, str]) -> str:
    """Run a script without quotation marks in it; by the system's own path, not by PATH."""
    root = machine.environment.get("SystemRoot") or machine.environment.get("SYSTEMROOT")
    if not root:
        raise BookError("Windows does not say where it is installed (SystemRoot is not set).")
    powershell = str(Path(root).joinpath(*_POWERSHELL))
    words = [powershell, "-NoProfile", "-NonInteractive", "-Command", script]
    return machine.run(words, values)
