"""The commands that make the others unnecessary: the window's icon, LibreOffice's button."""

from __future__ import annotations

import click

from siltbook.batch.commands.shared import refusals

EPILOG = "Exit codes: 0 done; 2 wrong use of the command; 3 it could not be done."
REMOVE = click.option("--remove", is_flag=True, help="Take it away again.")


@click.command(epilog=EPILOG)
@REMOVE
def shortcut(remove: bool) -> None:
    """Put an icon for the window on the desktop and in the menu.

    Books and folders can be dropped on it where the desktop allows that. A file that this command
    did not make is never touched.
    """
    from siltbook.batch.desktop import shortcut as icon
    from siltbook.batch.desktop.machine import this_machine

    with refusals():
        if not remove:
            _refuse_without_tkinter()
        _say((icon.remove if remove else icon.add)(this_machine()))


@click.command("office-button", epilog=EPILOG)
@REMOVE
def office_button(remove: bool) -> None:
    """Put a menu and a toolbar into LibreOffice Calc, which judge the book that is open there.

    Judge this book, Check, Round sheet, Station card: each saves the open book and calls this
    installation of Siltbook on the saved file.
    """
    from siltbook.batch.desktop.machine import this_machine
    from siltbook.batch.office_button import register
    from siltbook.batch.window.remembered import config_folder

    with refusals():
        _say((register.remove if remove else register.add)(this_machine(), config_folder()))


def _refuse_without_tkinter() -> None:
    """An icon that opens nothing, without a word, is worse than none."""
    from importlib.util import find_spec

    from siltbook.batch.errors import BookError
    from siltbook.batch.window.start import NO_TK

    if find_spec("_tkinter") is None:
        raise BookError(f"No icon was made: {NO_TK}")


def _say(lines: list[str]) -> None:
    from siltbook.batch.report.book import printable

    for line in lines:
        click.echo(printable(line))
