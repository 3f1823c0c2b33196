"""The button inside LibreOffice: what its menu and toolbar entries do with the open book.

This file travels inside the extension and is run by LibreOffice's own Python (UNO; the service
interface `com.sun.star.task.JobExecutor` and URLs of the form `service:NAME?ARGUMENT`, by the
OpenOffice.org Developer's Guide, chapter Extensions, Add-Ons). Nothing else imports it.
"""

from __future__ import annotations

import os
from typing import Any

import siltbook_calls as calls
import uno
import unohelper
from com.sun.star.awt import XCallback
from com.sun.star.awt.MessageBoxType import ERRORBOX, INFOBOX
from com.sun.star.lang import XServiceInfo
from com.sun.star.task import XJobExecutor
from siltbook_program import PROGRAM, SERVICE

_CALC = "com.sun.star.sheet.SpreadsheetDocument"
_HEADER_ROWS, _HEADER_COLUMNS = 60, 60  # in which a list's header is looked for
_OK = 1  # com.sun.star.awt.MessageBoxButtons.BUTTONS_OK
_URIS_ONLY = 1  # com.sun.star.system.SystemShellExecuteFlags
_DOING = {
    "judge": "Siltbook judges {} …", "check": "Siltbook checks {} …",
    "round": "Siltbook makes the round sheet of {} …", "card": "Siltbook makes a card of {} …",
}  # fmt: skip


class Button(unohelper.Base, XJobExecutor, XServiceInfo):
    """Takes an entry's word, and does its work once the press itself is over."""

    def __init__(self, context: Any) -> None:
        self.context = context

    def trigger(self, what: str) -> None:
        """Begin: a book cannot be closed and opened while its own menu is still at work."""
        later = self._service("com.sun.star.awt.AsyncCallback")
        later.addCallback(_Later(self, what), None)

    def getImplementationName(self) -> str:  # noqa: N802
        return str(SERVICE)

    def supportsService(self, name: str) -> bool:  # noqa: N802
        return bool(name == SERVICE)

    def getSupportedServiceNames(self) -> tuple[str, ...]:  # noqa: N802
        return (SERVICE,)

    def work(self, what: str) -> None:
        """Do it; whatever goes wrong is one sentence in a dialog."""
        desktop = self._service("com.sun.star.frame.Desktop")
        try:
            self._do(desktop, what)
        except calls.RefusedError as refused:
            self._tell(desktop, str(refused), ERRORBOX)
        except Exception as error:  # the last resort: nothing reaches the program around it
            first = (str(error).splitlines() or [""])[0][:300]
            said = f"The button failed at its work ({type(error).__name__}: {first})."
            self._tell(desktop, f"{said} Save the book and use siltbook-window.", ERRORBOX)

    def _do(self, desktop: Any, what: str) -> None:
        document = desktop.getCurrentComponent()
        if document is None or not document.supportsService(_CALC):
            raise calls.RefusedError(
                "No workbook is open in front. Open your book, then press again."
            )
        book = _saved(document)
        name = os.path.basename(book)
        indicator = document.CurrentController.Frame.createStatusIndicator()
        indicator.start(_DOING[what].format(name), 0)
        try:
            if what == "judge":
                done = self._judged(desktop, document, book)
            elif what == "check":
                done = calls.check(PROGRAM, book)
            elif what == "round":
                done = calls.round_sheet(PROGRAM, book)
            else:
                done = calls.station_card(PROGRAM, book, _station(document))
        finally:
            indicator.end()
        if done.path.lower().endswith(".pdf"):
            self._open_outside(done.path)
        if done.said:
            self._tell(desktop, done.said, INFOBOX)

    def _judged(self, desktop: Any, document: Any, book: str) -> Any:
        """Judge the book and open the result at Actions; results open from before are closed."""
        self._close_results(desktop, document, book)
        if not calls.is_result(book):
            done = calls.judge(PROGRAM, book)
            self._open(desktop, done.path)
            return done
        document.close(True)  # its own results are renewed in its place
        try:
            return calls.judge(PROGRAM, book)
        finally:
            self._open(desktop, book)

    def _close_results(self, desktop: Any, document: Any, book: str) -> None:
        for other in _documents(desktop):
            path = _path(other)
            if other == document or not path or not calls.may_be_result_of(path, book):
                continue
            if other.isModified():
                raise calls.RefusedError(
                    f"{os.path.basename(path)} is open and has changes that are not saved. Save or"
                    " close it, then press again."
                )
            other.close(True)

    def _open(self, desktop: Any, path: str) -> None:
        asks = uno.createUnoStruct("com.sun.star.beans.PropertyValue")
        asks.Name = "InteractionHandler"
        asks.Value = self._service("com.sun.star.task.InteractionHandler")
        url = uno.systemPathToFileUrl(path)
        document = desktop.loadComponentFromURL(url, "_blank", 0, (asks,))
        if document is None:
            raise calls.RefusedError(
                f"{path}: was made, but did not open. Open it from its folder."
            )
        names = document.Sheets.ElementNames
        actions = [name for name in ("Actions (Siltbook)", "Actions") if name in names]
        if actions:
            document.CurrentController.setActiveSheet(document.Sheets.getByName(actions[0]))
        document.CurrentController.Frame.ContainerWindow.toFront()

    def _open_outside(self, path: str) -> None:
        shell = self._service("com.sun.star.system.SystemShellExecute")
        try:
            shell.execute(uno.systemPathToFileUrl(path), "", _URIS_ONLY)
        except Exception:
            raise calls.RefusedError(
                f"{path}: was made, but no program opened it. Open it from its folder."
            ) from None

    def _tell(self, desktop: Any, words: str, kind: Any) -> None:
        frame = desktop.getCurrentFrame()
        parent = frame.getContainerWindow() if frame is not None else None
        toolkit = self._service("com.sun.star.awt.Toolkit")
        box = toolkit.createMessageBox(parent, kind, _OK, "Siltbook", words)
        box.execute()
        box.dispose()

    def _service(self, name: str) -> Any:
        return self.context.ServiceManager.createInstanceWithContext(name, self.context)


class _Later(unohelper.Base, XCallback):
    def __init__(self, button: Button, what: str) -> None:
        self.button, self.what = button, what

    def notify(self, _: Any) -> None:
        self.button.work(self.what)


def _saved(document: Any) -> str:
    """The path of the document's file, after what was not saved yet has been saved there."""
    path = _path(document)
    if not path:
        raise calls.RefusedError(
            "This book has no file on this machine yet. Save it under a name, then press again."
        )
    calls.refuse_name(path)
    if document.isModified():
        if document.isReadonly():
            raise calls.RefusedError(
                f"{os.path.basename(path)}: is open as read-only, and what you changed in it is not"
                " saved. Save it under another name, then press again."
            )
        try:
            document.store()
        except Exception as error:
            first = (str(error).splitlines() or [""])[0][:200]
            raise calls.RefusedError(
                f"{os.path.basename(path)}: could not be saved ({first}), so nothing was judged."
                " Save it, then press again."
            ) from None
    return path


def _path(document: Any) -> str:
    """The path of a document's file on this machine; '' where it has none."""
    url = document.getURL() if hasattr(document, "getURL") else ""
    return str(uno.fileUrlToSystemPath(url)) if url.startswith("file:") else ""


def _documents(desktop: Any) -> list[Any]:
    found, components = [], desktop.getComponents().createEnumeration()
    while components.hasMoreElements():
        found.append(components.nextElement())
    return found


def _station(document: Any) -> str:
    """The station in whose row the cursor stands."""
    selected = document.CurrentController.getSelection()
    if hasattr(selected, "getRangeAddress"):
        at = selected.getRangeAddress()
        sheet = document.Sheets.getByIndex(at.Sheet)
        last = min(at.StartRow, _HEADER_ROWS) - 1
        for row in range(last, -1, -1):
            cells = sheet.getCellRangeByPosition(0, row, _HEADER_COLUMNS, row).getDataArray()[0]
            for column, cell in enumerate(cells):
                if isinstance(cell, str) and cell.strip().casefold() == "station":
                    name = str(sheet.getCellByPosition(column, at.StartRow).getString()).strip()
                    if name:
                        return name
    raise calls.RefusedError(
        "Put the cursor in a row of the station, on Stations, Readings or Actions; then press"
        " Station card again."
    )


g_ImplementationHelper = unohelper.ImplementationHelper()  # noqa: N816
g_ImplementationHelper.addImplementation(Button, SERVICE, (SERVICE,))
