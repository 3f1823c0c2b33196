"""Presses the button's entries in a real LibreOffice, and prints what was seen; see the test.

Runs in LibreOffice's own Python, on a screen: `player.py OFFICE BOOK PICTURE`. With a PICTURE it
only presses once and keeps what the screen showed.
"""

# mypy: ignore-errors
from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
from urllib.parse import unquote

import uno
from com.sun.star.accessibility.AccessibleRole import ALERT, DIALOG, PUSH_BUTTON
from com.sun.star.beans import PropertyValue
from com.sun.star.util import URL

PATIENCE = 300.0  # [s]


class Player:
    def __init__(self, office: str) -> None:
        pipe = f"siltbook{os.getpid()}"
        self.process = subprocess.Popen(
            [office, "--norestore", "--nologo", f"--accept=pipe,name={pipe};urp;"],
            env={**os.environ, "SAL_USE_VCLPLUGIN": "gen"},
        )
        local = uno.getComponentContext()
        resolver = local.ServiceManager.createInstanceWithContext(
            "com.sun.star.bridge.UnoUrlResolver", local
        )
        where = f"uno:pipe,name={pipe};urp;StarOffice.ComponentContext"
        self.context = self.until(lambda: self.connected(resolver, where))
        self.desktop = self.service("com.sun.star.frame.Desktop")
        self.toolkit = self.service("com.sun.star.awt.Toolkit")

    @staticmethod
    def connected(resolver, where):
        try:
            return resolver.resolve(where)
        except Exception:
            return None

    def service(self, name):
        return self.context.ServiceManager.createInstanceWithContext(name, self.context)

    def until(self, what):
        end = time.monotonic() + PATIENCE
        while not (found := what()):
            assert time.monotonic() < end, "nothing happened"
            time.sleep(0.05)
        return found

    def open(self, path):
        return self.desktop.loadComponentFromURL(
            uno.systemPathToFileUrl(path), "_blank", 0, (PropertyValue("Hidden", 0, False, 0),)
        )

    def press(self, document, what):
        """As the menu does: the frame dispatches the entry's address."""
        document.CurrentController.Frame.activate()
        url = URL()
        url.Complete = f"service:siltbook.OfficeButton?{what}"
        _, url = self.service("com.sun.star.util.URLTransformer").parseStrict(url)
        document.CurrentController.Frame.queryDispatch(url, "_self", 0).dispatch(url, ())

    def said(self):
        """The words of the dialog that appears, which is then closed by its button."""
        words, button = self.until(self.dialog)
        self.until(lambda: self.closed(button))
        return words

    def closed(self, button):
        """Whether the dialog is gone; pressed again where it was not ready to be pressed."""
        try:
            button.getAccessibleContext().doAccessibleAction(0)
        except Exception:
            return True
        return self.dialog() is None

    def dialog(self):
        """The words and the button of a dialog that is open; None where none is, or is going."""
        try:
            for number in range(self.toolkit.getTopWindowCount()):
                window = self.toolkit.getTopWindow(number)
                if role_of(window) in (DIALOG, ALERT):
                    inside = window.getWindows()
                    words = [one.getText() for one in inside if hasattr(one, "getText")]
                    buttons = [one for one in inside if role_of(one) == PUSH_BUTTON]
                    if words and buttons:
                        return " ".join(words), buttons[0]
        except Exception:
            return None
        return None

    def opened(self, name):
        """The document of that name, once it is there."""
        return self.until(lambda: self.documents().get(name))

    def documents(self):
        """Each document that is open, by the name of its file."""
        components = self.desktop.getComponents().createEnumeration()
        found = {}
        while components.hasMoreElements():
            one = components.nextElement()
            with contextlib.suppress(Exception):  # closed while it was looked at, or no workbook
                if one.Sheets is not None:
                    found[os.path.basename(unquote(one.getURL()))] = one
        return found


def role_of(window):
    return window.getAccessibleContext().getAccessibleRole()


def select(document, sheet, cell):
    sheet = document.Sheets.getByName(sheet)
    document.CurrentController.setActiveSheet(sheet)
    document.CurrentController.select(sheet.getCellRangeByName(cell))


def play(player, book):
    held = {}
    name = os.path.splitext(os.path.basename(book))[0]
    document = player.open(book)
    player.press(document, "check")
    held["check"] = player.said()
    farm = document.Sheets.getByName("Farm")
    farm.getCellRangeByName("F1").setString("typed and not saved")
    player.press(document, "judge")
    reviewed = player.opened(f"{name}.reviewed.xlsx")
    held["active"] = reviewed.CurrentController.ActiveSheet.Name
    held["saved"] = not document.isModified()
    reviewed.Sheets.getByName("Farm").getCellRangeByName("F2").setString("not saved either")
    player.press(document, "judge")
    held["unsaved"] = player.said()
    reviewed.setModified(False)
    made = book.replace(".xlsx", ".reviewed.xlsx")
    before = os.stat(made).st_ino
    player.press(document, "judge")
    player.until(lambda: os.stat(made).st_ino != before)
    reviewed = player.opened(f"{name}.reviewed.xlsx")
    reviewed.Sheets.getByName("Farm").getCellRangeByName("F2").setString("typed into the result")
    player.press(reviewed, "judge")
    player.until(lambda: os.path.exists(book.replace(".xlsx", ".reviewed.previous.xlsx")))
    reviewed = player.opened(f"{name}.reviewed.xlsx")
    held["kept"] = reviewed.Sheets.getByName("Farm").getCellRangeByName("F2").String
    select(reviewed, "Actions", "A1")
    player.press(reviewed, "card")
    held["nowhere"] = player.said()
    select(document, "Stations", "C3")
    player.press(document, "round")
    held["round"] = player.said()
    player.press(document, "card")
    held["card"] = player.said()
    held["open"] = sorted(player.documents())
    return held


def refusals(player, book):
    held = {}
    fresh = player.desktop.loadComponentFromURL("private:factory/scalc", "_blank", 0, ())
    player.press(fresh, "judge")
    held["no file"] = player.said()
    fresh.close(True)
    broken = os.path.join(os.path.dirname(book), "other.xlsx")
    shutil.copy(book.replace(os.path.basename(book), "notes.xlsx"), broken)
    document = player.open(broken)
    player.press(document, "round")
    held["no book"] = player.said()
    document.close(True)
    return held


def main(office, book, picture):
    player = Player(office)
    try:
        if picture:
            photograph(player, book, picture)
        else:
            print(json.dumps({**refusals(player, book), **play(player, book)}))
    finally:
        try:
            player.desktop.terminate()
        except Exception:
            player.process.kill()
        player.process.kill()
        player.process.wait(30)


def photograph(player, book, picture):
    document = player.open(book)
    window = document.CurrentController.Frame.ContainerWindow
    window.setPosSize(0, 0, 1280, 800, 15)
    player.press(document, "judge")
    reviewed = player.opened(os.path.basename(book).replace(".xlsx", ".reviewed.xlsx"))
    reviewed.CurrentController.Frame.ContainerWindow.setPosSize(0, 0, 1280, 800, 15)
    time.sleep(6)
    subprocess.run(["import", "-window", "root", picture], check=True)


if __name__ == "__main__":
    main(*sys.argv[1:4])
