"""The window itself: what is asked for goes to the desk, what happened comes from it."""

from __future__ import annotations

import contextlib
import queue
import tkinter as tk
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from tkinter import filedialog, simpledialog, ttk
from typing import Any

from siltbook.batch.errors import SiltbookError
from siltbook.batch.files import BOOK_ENDINGS
from siltbook.batch.report.book import printable
from siltbook.batch.window import layout, papers
from siltbook.batch.window.desk import Desk
from siltbook.batch.window.events import (
    Event,
    Failed,
    Idle,
    Made,
    Need,
    Progress,
    Row,
    fitted,
)
from siltbook.batch.window.opening import open_path
from siltbook.batch.window.remembered import last_folder, remember
from siltbook.templates.look import VERDICTS
from siltbook.templates.safety import in_order

LOOK = 80  # [ms] between two looks at what the desk tells
EMPTY = "Choose the books of your farm, or the folder that they are in. Nothing in them is changed."
_ENDINGS = " ".join(f"*{ending}" for ending in BOOK_ENDINGS)


def show(given: Sequence[Path], config: Path) -> None:
    """Open the window and stay until it is closed; TclError where there is no screen."""
    root, droppable = _root()
    window = Window(root, Desk(), config)
    if droppable:
        window.take_drops()
    if given:
        window.choose(given)
    root.mainloop()
    window.desk.close()


def _root() -> tuple[tk.Tk, bool]:
    """The window's root, and whether books can be dropped on it (with tkinterdnd2)."""
    try:
        from tkinterdnd2 import TkinterDnD
    except ImportError:
        return tk.Tk(className="Siltbook"), False
    try:
        root: tk.Tk = TkinterDnD.Tk(className="Siltbook")
    except RuntimeError:  # its library does not fit this system
        return tk.Tk(className="Siltbook"), False
    return root, True


class Window:
    """A list of books and their stations over the buttons for what can be made of them."""

    def __init__(self, root: tk.Tk, desk: Desk, config: Path) -> None:
        self.root, self.desk, self.config = root, desk, config
        self.rows: dict[str, Row] = {}
        self.needs: dict[str, Need] = {}
        self.paths: tuple[Path, ...] = ()
        self.told: dict[Path, tuple[str, ...]] = {}  # book -> what was said of results kept aside
        self.opens: Callable[[Path], None] = open_path
        self.watching = tk.BooleanVar(root, value=False)
        self.status = tk.StringVar(root, value=EMPTY)
        self._icon = layout.dress(root)
        self._build()
        self._ready()
        self.tree.focus_set()
        root.after(LOOK, self._look)

    def _papers(self) -> tuple[tuple[str, str, str, layout.Does], ...]:
        return (
            ("open", "Open reviewed book", "b", self.open_reviewed),
            ("round", "Round sheet", "r", self.round_sheet),
            ("card", "Station card", "k", self.station_card),
            ("review", "Review pack…", "p", self.review_pack),
            ("audit", "Audit", "u", self.audit),
            ("archive", "Archive…", "e", self.archive),
        )

    def _books(self) -> tuple[tuple[str, str, str, layout.Does], ...]:
        return (
            ("books", "Choose books…", "o", self.ask_books),
            ("folder", "Choose folder…", "d", self.ask_folder),
            ("again", "Judge again", "j", self.judge_again),
        )

    def _build(self) -> None:
        """The widgets in the order in which Tab goes through them, the list in the middle."""
        root = self.root
        top = layout.bar(root, "top", (12, 10, 12, 6))
        self.buttons = {n: layout.button(top, text, does) for n, text, _, does in self._books()}
        layout.switch(top, self.watching, self.watch_changed)
        self.tree = layout.book_list(root)
        self.bar = layout.status_line(root, self.status)
        row = layout.bar(root, "bottom", (12, 8, 12, 0))
        self.buttons |= {n: layout.button(row, text, does) for n, text, _, does in self._papers()}
        self.words = layout.words_field(root)
        self.tree.bind("<<TreeviewSelect>>", lambda _: self._ready())
        self.tree.bind("<Return>", lambda _: self.open_reviewed())
        self.tree.bind("<Double-1>", self._double)
        self.tree.bind("<Configure>", lambda _: self._fit())
        self.tree.bind("<ButtonRelease-1>", lambda _: self._fit())  # a column was made wider
        books = [(text, key, does) for _, text, key, does in self._books()]
        books.append(("Watch the folder", "w", self.watch_switched))
        books.append(("Close", "q", root.destroy))
        made = [(text, key, does) for _, text, key, does in self._papers()]
        layout.menus(root, (("Books", books), ("Make", made)))

    # What is asked for

    def ask_books(self) -> None:
        """Let books be chosen, and judge them."""
        names = filedialog.askopenfilenames(
            parent=self.root, title="Choose books", initialdir=self._begin(),
            filetypes=[("Workbooks", _ENDINGS), ("All files", "*")],
        )  # fmt: skip
        self.choose([Path(name) for name in names])

    def ask_folder(self) -> None:
        """Let a folder be chosen, and judge the books in it."""
        name = filedialog.askdirectory(
            parent=self.root, title="Choose the folder of your books", initialdir=self._begin(),
            mustexist=True,
        )  # fmt: skip
        self.choose([Path(name)] if name else [])

    def _begin(self) -> str:
        return str(last_folder(self.config) or Path.home())

    def choose(self, paths: Sequence[Path]) -> None:
        """Judge these books and folders in place of those that stand in the list."""
        if not paths:
            return
        self.paths = tuple(paths)
        remember(self.config, self.folder())
        if self.watching.get():
            self.watching.set(False)
            self.desk.unwatch()
        self.judge_again()

    def folder(self) -> Path:
        """The folder of what was chosen."""
        return self.paths[0] if self.paths[0].is_dir() else self.paths[0].parent

    def judge_again(self) -> None:
        """Judge everything that was chosen; asks for books where nothing was."""
        if not self.paths:
            self.ask_books()
            return
        self._clear()
        self.status.set("…")
        self.desk.judge(self.paths)

    def watch_switched(self) -> None:
        """Turn watching on or off by the keyboard."""
        self.watching.set(not self.watching.get())
        self.watch_changed()

    def watch_changed(self) -> None:
        """Watch the folder of what was chosen, or no longer."""
        if not self.watching.get():
            self.desk.unwatch()
        elif not self.paths:
            self.watching.set(False)
            self.status.set("Choose a folder first: then it can be watched.")
        else:
            folder = self.folder()
            for at in [at for at, row in self.rows.items() if row.book.parent != folder]:
                self._forget(at)
            self._ready()
            self.status.set(f"{folder} …")
            self.desk.watch(folder, [row.book for row in self.rows.values()])

    def open_reviewed(self) -> None:
        """Open the reviewed copy of the book in its program."""
        if (row := self.chosen()) is not None and row.reviewed is not None:
            self._open(row.reviewed)

    def round_sheet(self) -> None:
        """Make the round sheet of the book and open it."""
        if (row := self.chosen()) is not None:
            self.desk.make("Round sheet", partial(papers.round_sheet, row.book))

    def station_card(self) -> None:
        """Make the card of the chosen station; of a book, those of all that need something."""
        row, need = self.chosen(), self.needs.get(self._selected())
        if row is not None and row.needs:
            names = [one.station for one in ([need] if need else row.needs)]
            self.desk.make("Station card", partial(papers.station_card, row.book, names))

    def review_pack(self) -> None:
        """Make the pack of a month of all books in the list."""
        if not (rows := [row for row in self.rows.values() if not row.failure]):
            return
        latest = max(row.as_of for row in rows)[:7]
        month = simpledialog.askstring(
            "Review pack", "Which month is reviewed? (year-month)", initialvalue=latest,
            parent=self.root,
        )  # fmt: skip
        if month:
            books = [row.book for row in rows]
            self.desk.make("Review pack", partial(papers.review_pack, books, month.strip()))

    def audit(self) -> None:
        """Make the audited copy of the book and open it."""
        if (row := self.chosen()) is not None:
            self.desk.make("Audit", partial(papers.audit, row.book))

    def archive(self) -> None:
        """Keep the book's season in a folder that is asked for."""
        if (row := self.chosen()) is None:
            return
        name = filedialog.askdirectory(
            parent=self.root, title="Where shall the archive be kept?",
            initialdir=str(row.book.parent),
        )  # fmt: skip
        if name:
            self.desk.make("Archive", partial(papers.archive, row.book, Path(name)))

    def take_drops(self) -> None:
        """Let books and folders be dropped on the window."""
        root: Any = self.root
        root.drop_target_register("DND_Files")
        root.dnd_bind("<<Drop>>", self._dropped)

    def _dropped(self, event: Any) -> None:
        self.choose([Path(name) for name in self.root.tk.splitlist(event.data)])

    # What happened

    def _look(self) -> None:
        self.root.after(LOOK, self._look)
        with contextlib.suppress(queue.Empty):
            while True:
                self.tell(self.desk.events.get_nowait())

    def tell(self, event: Event) -> None:
        """Show one event of the desk."""
        match event:
            case Row():
                self._row(event)
            case Progress(done, count, doing):
                self.bar.configure(maximum=count, value=done + 0.5)
                self.status.set(f"{doing} ({done + 1} of {count}) …" if count > 1 else f"{doing} …")
            case Made(what, path, said):
                self.status.set(f"{what}: {path}")
                self._say([*said, *self._words_of(self.chosen())])
                self._open(path)
            case Failed(sentence):
                self.status.set(sentence)
            case Idle(watching):
                self._idle(watching)

    def _idle(self, watching: Path | None) -> None:
        self.bar.configure(value=0)
        self.watching.set(watching is not None)
        if self.status.get().endswith("…"):
            said = f"Watching {watching}." if watching else self._done()
            self.status.set(f"{said}{self._typed()}")

    def _typed(self) -> str:
        """Says that what somebody typed into results was kept, as long as the window is open."""
        count = sum(row.book in self.told for row in self.rows.values())
        if not count:
            return ""
        books = "1 book" if count == 1 else f"{count} books"
        them = "it" if count == 1 else "them"
        return (
            f" Somebody had typed into results of {books}: choose {them} to see where it is kept."
        )

    def _done(self) -> str:
        books, bad = len(self.rows), sum(bool(row.failure) for row in self.rows.values())
        needs = sum(len(row.needs) for row in self.rows.values())
        said = f"{books} book{'' if books == 1 else 's'}, {needs} station"
        said += "" if needs == 1 else "s"
        said += f" need{'s' if needs == 1 else ''} something."
        return f"{said} {bad} could not be judged." if bad else said

    def _row(self, row: Row) -> None:
        """Put a book in the list, or in its place there."""
        tree = self.tree
        at = next((at for at, one in self.rows.items() if one.book == row.book), "")
        if at:
            for under in tree.get_children(at):
                self.needs.pop(under)
                tree.delete(under)
        else:
            at = tree.insert("", "end", text=_shown(row.book.name), open=True)
        self.rows[at] = row
        if row.said:
            self.told[row.book] = tuple(dict.fromkeys((*self.told.get(row.book, ()), *row.said)))
        tags = ("failure",) if row.failure else ()
        tree.item(at, values=("", row.as_of), tags=tags)
        for need in row.needs:
            label = VERDICTS[need.verdict].label
            under = tree.insert(at, "end", text=need.station, values=(label,), tags=(need.verdict,))
            self.needs[under] = need
        if not tree.selection():
            tree.selection_set(at)
            tree.focus(at)
        self._fit()
        self._ready()

    def _fit(self) -> None:
        """What each book needs in as many words as its line holds: a list cuts without a sign."""
        room = self.tree.column("needs", "width") - 2 * layout.EDGE
        font = layout.list_font(self.root)
        for at, row in self.rows.items():
            self.tree.set(at, "needs", _shown(fitted(row, lambda s: font.measure(s) <= room)))

    def _clear(self) -> None:
        for at in list(self.rows):
            self._forget(at)
        self._ready()

    def _forget(self, at: str) -> None:
        """Take a book and its stations out of the list."""
        for under in self.tree.get_children(at):
            self.needs.pop(under)
        self.rows.pop(at)
        self.tree.delete(at)

    def _selected(self) -> str:
        return next(iter(self.tree.selection()), "")

    def chosen(self) -> Row | None:
        """The book that is chosen in the list, by itself or by one of its stations."""
        selected = self._selected()
        return self.rows.get(self.tree.parent(selected) or selected) if selected else None

    def _ready(self) -> None:
        """Buttons can be pressed where there is something for them; the words follow the list."""
        row = self.chosen()
        judged = row is not None and not row.failure
        can = {
            "open": row is not None and row.reviewed is not None, "round": judged,
            "card": row is not None and bool(row.needs), "audit": judged, "archive": judged,
            "review": any(not one.failure for one in self.rows.values()),
        }  # fmt: skip
        for name, possible in can.items():
            self.buttons[name].state(["!disabled" if possible else "disabled"])
        self._say(self._words_of(row))

    def _words_of(self, row: Row | None) -> list[str]:
        if row is None:
            return []
        told = self.told.get(row.book, ())
        if row.failure:
            return [row.failure, *told]
        need = self.needs.get(self._selected())
        shown = [need] if need else row.needs
        said = [
            " ".join((f"{one.station}: {VERDICTS[one.verdict].shown}. {one.reason}", *one.noted))
            for one in shown
        ]
        return [*row.notes, *told, *said, *(f"! {line}" for line in in_order(row.cautions))]

    def _say(self, lines: list[str]) -> None:
        self.words.configure(state="normal")
        self.words.delete("1.0", "end")
        self.words.insert("1.0", "\n".join(map(_shown, lines)))
        self.words.configure(state="disabled")

    def _double(self, event: tk.Event[ttk.Treeview]) -> str:
        if self.tree.identify_row(event.y):
            self.open_reviewed()
        return "break"

    def _open(self, path: Path) -> None:
        try:
            self.opens(path)
        except SiltbookError as error:
            self.status.set(str(error))


def _shown(words: str) -> str:
    """Words as a screen can show them: a name with bytes that are no text has marks for them."""
    return printable(words.encode("utf-8", "replace").decode("utf-8"))
