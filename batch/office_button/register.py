"""Hands the extension to LibreOffice by its own tool, unopkg, and takes it back."""

from __future__ import annotations

from pathlib import Path

from siltbook.batch.desktop.machine import Machine, program
from siltbook.batch.errors import SiltbookError
from siltbook.batch.files import make_folder, write_whole
from siltbook.batch.office_button.extension import FILE, IDENTIFIER, extension
from siltbook.batch.pdf import beside_office

_OPEN = "Close LibreOffice, also where only its quick starter runs; then type this command again."
_NO_PYTHON = (
    "LibreOffice here lacks its Python part. Install it: 'sudo apt install python3-uno' (Debian,"
    " Ubuntu), 'sudo dnf install libreoffice-pyuno' (Fedora); then type this command again."
)
_DONE = (
    "LibreOffice Calc now has the menu and the toolbar Siltbook: Judge this book, Check, Round"
    " sheet, Station card. Open your book there and press."
)


def add(machine: Machine, folder: Path) -> list[str]:
    """Write the extension into `folder` and register it; lines that say what was done.

    SiltbookError where LibreOffice is not found (the file is written all the same), is open, or
    refuses.
    """
    data = extension(program(machine, "siltbook"))
    make_folder(folder)
    path = folder / FILE
    write_whole(path, data)
    _unopkg(machine, ["add", "--force", str(path)], f"The extension is {path}.")
    return [f"Extension: {path}", _DONE]


def remove(machine: Machine, folder: Path) -> list[str]:
    """Take the extension out of LibreOffice and its file away; lines that say what was done."""
    path = folder / FILE
    listed = _unopkg(machine, ["list"], "")
    there = f"Identifier: {IDENTIFIER}" in listed
    if there:
        _unopkg(machine, ["remove", IDENTIFIER], "")
    written = path.exists()
    path.unlink(missing_ok=True)
    said = ["The menu and the toolbar were taken out of LibreOffice Calc."] if there else []
    said += [f"{path} was removed."] if written else []
    return said or ["LibreOffice had no menu of Siltbook's."]


def _unopkg(machine: Machine, words: list[str], done: str) -> str:
    """Run LibreOffice's tool; its refusals in words that say what to do, after what is `done`."""
    tool = beside_office("unopkg", machine.system)
    if tool is None:
        told = "LibreOffice's unopkg was not found. Install LibreOffice, then type this again"
        other = "; or open the file with LibreOffice, which offers to install it." if done else "."
        raise SiltbookError(" ".join(filter(None, (done, told + other))))
    try:
        return machine.run([tool, *words], {})
    except SiltbookError as error:
        for sign, instead in (
            ("already running", _OPEN), ("concurrent", _OPEN), ("loader.Python", _NO_PYTHON),
        ):  # fmt: skip
            if sign in str(error):
                raise SiltbookError(instead) from error
        raise
