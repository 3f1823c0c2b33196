"""Plays on the real window with keys, and says on its last line what it held; see the test."""

from __future__ import annotations

import json
import subprocess
import sys
import time
import tkinter as tk
from collections.abc import Callable
from pathlib import Path
from tkinter import ttk

from siltbook.batch.window.desk import Desk
from siltbook.batch.window.view import Window

PATIENCE = 120.0  # [s]


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


def main(folder: Path, config: Path, picture: str) -> None:
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
        "words": window.words.get("1.0", "end"), "tab": player.tab(),
    }  # fmt: skip
    print(json.dumps(held))


def disabled(player: Player, book: str) -> list[str]:
    player.choose(book)
    buttons: dict[str, ttk.Button] = player.window.buttons
    return [name for name, button in buttons.items() if button.instate(["disabled"])]


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
