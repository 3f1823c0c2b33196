"""Plays on the real window with keys, and says on its last line what it held; see the test."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import tkinter as tk
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path
from tkinter import ttk
from types import SimpleNamespace

from siltbook.batch.window import layout
from siltbook.batch.window.desk import Desk
from siltbook.batch.window.events import Row
from siltbook.batch.window.view import Window, _root

PATIENCE = 600.0  # [s]


class Player:
    def __init__(self, config: Path) -> None:
        self.root = tk.Tk(className="Siltbook")
        self.window = Window(self.root, Desk(), config)
        self.opened: list[str] = []
        self.window.opens = lambda path: self.opened.append(str(path))

    def until(self, what: Callable[[], bool]) -> None:
        end = time.monotonic() + PATIENCE
        while not what():
            self.root.update()
            time.sleep(0.02)
            assert time.monotonic() < end, self.window.status.get()
        self.root.update()

    def press(self, *keys: str) -> None:
        """Press keys where the focus is; a screen without a window manager gives none by itself."""
        for key in keys:
            self.root.update()
            at = self.root.focus_get() or self.window.tree
            at.event_generate(key)
            self.root.update()

    def item(self, shown: str) -> str:
        tree = self.window.tree
        items = [*tree.get_children(), *self.window.needs]
        return next(one for one in items if tree.item(one, "text") == shown)

    def choose(self, shown: str) -> None:
        tree = self.window.tree
        item = self.item(shown)
        tree.see(item)
        tree.selection_set(item)
        tree.focus(item)
        tree.focus_force()
        self.root.update()

    def tab(self) -> list[str]:
        """What Tab goes through, from the first to the last."""
        self.window.buttons["books"].focus_force()
        self.root.update()
        seen: list[str] = []
        for _ in range(20):
            at = self.root.focus_get()
            name = {self.window.tree: "list", self.window.words: "words"}.get(at)  # type: ignore[call-overload]
            seen.append(name or str(at.cget("text")))  # type: ignore[union-attr]
            self.press("<Tab>")
            if self.root.focus_get() is self.window.buttons["books"]:
                break
        return seen


def drop(player: Player, *paths: Path) -> list[str]:
    """Drop books as a file manager does: one list in the words of Tcl; the books it gave."""
    window = player.window
    window._dropped(SimpleNamespace(data=player.root.tk.call("list", *map(str, paths))))
    player.until(lambda: "need something" in window.status.get())
    return [window.tree.item(one, "text") for one in window.tree.get_children()]


def watch(player: Player) -> list[str]:
    """Turn watching on, and save one of the books: what was judged then, and what stays."""
    window, judged = player.window, []
    tell = window.tell

    def told(event: object) -> None:
        if isinstance(event, Row):
            judged.append(event.book.name)
        tell(event)  # type: ignore[arg-type]

    window.tell = told  # type: ignore[method-assign, assignment]
    player.press("<Control-w>")
    player.until(lambda: window.status.get().startswith("Watching"))
    saved = window.paths[0]
    saved.write_bytes(saved.read_bytes())
    player.until(lambda: saved.name in judged and window.status.get().startswith("Watching"))
    return judged


def takes_drops(config: Path) -> bool | None:
    """Whether the helper for dropping registers the window; None where it is not installed."""
    if find_spec("tkinterdnd2") is None:
        return None
    root, droppable = _root()
    Window(root, Desk(), config).take_drops()
    root.destroy()
    return droppable


def main(folder: Path, config: Path, picture: str) -> None:
    droppable = takes_drops(config)
    player = Player(config)
    window, tree = player.window, player.window.tree
    window.choose([folder])
    player.until(lambda: "need something" in window.status.get())
    summary = window.status.get()
    tree.focus_force()
    off = {"notes.xlsx": disabled(player, "notes.xlsx")}
    player.choose("river-farm-2026.xlsx")
    player.press("<Return>")
    player.choose("S02 Pond")
    for key, count in (("<Control-k>", 2), ("<Control-r>", 3), ("<Control-u>", 4)):
        player.press(key)
        player.until(lambda count=count: len(player.opened) == count)  # type: ignore[misc]
    if picture:
        subprocess.run(["import", "-window", window.root.winfo_id().__str__(), picture], check=True)
    held = {
        "books": [tree.item(one, "text") for one in tree.get_children()],
        "needs": {tree.item(o, "text"): tree.set(o, "needs") for o in tree.get_children()},
        "summary": summary, "opened": player.opened, "off": off,
        "words": window.words.get("1.0", "end"), "tab": player.tab(), "droppable": droppable,
        "cut": cut(player),
    }  # fmt: skip
    window.status.set("")
    held["dropped"] = drop(player, folder / "river-farm-2026.xlsx", folder.parent / "a {b} c.xlsx")
    held["watched"] = watch(player)
    held["stay"] = [tree.item(one, "text") for one in tree.get_children()]
    print(json.dumps(held))


def cut(player: Player) -> list[str]:
    """Lines of books that are longer than their column: a list would cut them without a sign."""
    window, font = player.window, layout.list_font(player.root)
    room = window.tree.column("needs", "width") - 2 * layout.EDGE
    lines = [window.tree.set(one, "needs") for one in window.tree.get_children()]
    return [line for line in lines if font.measure(line) > room]


def disabled(player: Player, book: str) -> list[str]:
    player.choose(book)
    buttons: dict[str, ttk.Button] = player.window.buttons
    return [name for name, button in buttons.items() if button.instate(["disabled"])]


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
