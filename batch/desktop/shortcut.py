"""The icon of the window: put on the desktop and in the menu, or taken away."""

from __future__ import annotations

from siltbook.batch.desktop import linux, macos, windows
from siltbook.batch.desktop.machine import Machine
from siltbook.batch.desktop.pieces import take_away

_SYSTEMS = {"win32": windows, "darwin": macos}
_USE = "Double-click it, or drop books or their folder on it where the desktop allows that."
_NONE = "There was no icon of Siltbook's."


def add(machine: Machine) -> list[str]:
    """Put the icon in its places; lines that say what was done.

    BookError where a file of another stands in one of them (then nothing was changed), where the
    window is not installed, or where the system refuses.
    """
    return [*_SYSTEMS.get(machine.system, linux).add(machine), _USE]


def remove(machine: Machine) -> list[str]:
    """Take away what `add` has put there, and nothing else; lines that say what was done."""
    places = _SYSTEMS.get(machine.system, linux).places(machine)
    return take_away(places) or [_NONE]
