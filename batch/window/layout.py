"""How the window looks: its widgets, without what they do."""

from __future__ import annotations

import base64
import tkinter as tk
from collections.abc import Callable, Sequence
from functools import partial
from tkinter import ttk
from tkinter.font import Font, nametofont

from siltbook.batch.window import icon
from siltbook.templates.look import HEAD_FILL, INK, VERDICTS, WHITE

Does = Callable[[], None]
Entry = tuple[str, str, Does]  # a menu entry: its words, the letter of its key, what it does
_COLUMNS = (
    ("#0", "Book and station", 300), ("needs", "What it needs", 480), ("day", "As of", 100),
)  # fmt: skip
_FAILURE = VERDICTS["check-flush-gear"].fill
EDGE = 6  # [pixels] at each side of a cell of the list


def dress(root: tk.Tk) -> tk.PhotoImage:
    """Give the window its title, size, icon (to be kept by the caller) and colours."""
    root.title("Siltbook")
    root.geometry("980x640")
    root.minsize(720, 460)
    picture = tk.PhotoImage(master=root, data=base64.b64encode(icon.png(64)))
    root.iconphoto(True, picture)
    style = ttk.Style(root)
    if root.tk.call("tk", "windowingsystem") == "x11":
        style.theme_use("clam")
        root.configure(background=style.lookup("TFrame", "background"))
    style.configure("Treeview", rowheight=26, foreground=INK, background=WHITE)
    style.configure("Treeview.Heading", padding=(6, 4), background=HEAD_FILL)
    style.configure("TButton", padding=(10, 5))
    return picture


def bar(root: tk.Misc, side: str, padding: tuple[int, int, int, int]) -> ttk.Frame:
    """A row across the window."""
    frame = ttk.Frame(root, padding=padding)
    frame.pack(side="top" if side == "top" else "bottom", fill="x")
    return frame


def button(parent: tk.Misc, text: str, does: Does) -> ttk.Button:
    """A button that the mouse, the space bar and Enter press."""
    made = ttk.Button(parent, text=text, command=does)
    made.bind("<Return>", lambda _: made.invoke())
    made.pack(side="left", padx=(0, 8))
    return made


def switch(parent: tk.Misc, variable: tk.BooleanVar, does: Does) -> ttk.Checkbutton:
    """The switch for watching."""
    words = "Watch the folder: judge a book whenever it is saved"
    made = ttk.Checkbutton(parent, text=words, variable=variable, command=does)
    made.bind("<Return>", lambda _: made.invoke())
    made.pack(side="right")
    return made


def book_list(root: tk.Misc) -> ttk.Treeview:
    """The list: a line for each book, beneath it one for each station that needs something."""
    frame = ttk.Frame(root, padding=(12, 0))
    frame.pack(side="top", fill="both", expand=True)
    tree = ttk.Treeview(frame, columns=("needs", "day"), selectmode="browse")
    for column, text, width in _COLUMNS:
        tree.heading(column, text=text, anchor="w")
        tree.column(column, width=width, minwidth=80, stretch=column == "needs")
    _scrolled(frame, tree)
    tree.pack(side="left", fill="both", expand=True)
    for verdict, look in VERDICTS.items():
        tree.tag_configure(verdict, background=look.fill, foreground=look.text)
    tree.tag_configure("failure", foreground=_FAILURE)
    return tree


def list_font(root: tk.Misc) -> Font:
    """The type of the list, by which its words are measured."""
    return nametofont(str(ttk.Style(root).lookup("Treeview", "font") or "TkDefaultFont"), root)


def words_field(root: tk.Misc) -> tk.Text:
    """Where reasons and cautions are read: text that can be scrolled and copied, not typed into."""
    frame = ttk.Frame(root, padding=(12, 8, 12, 0))
    frame.pack(side="bottom", fill="x")
    words = tk.Text(
        frame, height=8, wrap="word", relief="flat", padx=10, pady=6, font="TkDefaultFont",
        background=WHITE, foreground=INK, state="disabled", takefocus=True, spacing3=3,
    )  # fmt: skip
    _scrolled(frame, words)
    words.pack(fill="x", expand=True)
    words.bind("<Tab>", _leave)
    return words


def _scrolled(frame: tk.Misc, widget: ttk.Treeview | tk.Text) -> None:
    scrollbar = ttk.Scrollbar(frame, command=widget.yview)
    widget.configure(yscrollcommand=scrollbar.set)
    scrollbar.pack(side="right", fill="y")


def _leave(event: tk.Event[tk.Text]) -> str:
    """Tab leaves the words as it leaves every other field."""
    if (following := event.widget.tk_focusNext()) is not None:
        following.focus_set()
    return "break"


def status_line(root: tk.Misc, status: tk.StringVar) -> ttk.Progressbar:
    """What happens now, in one sentence, and how far it is."""
    foot = bar(root, "bottom", (12, 6, 12, 10))
    progress = ttk.Progressbar(foot, length=160, mode="determinate")
    progress.pack(side="right")
    said = ttk.Label(foot, textvariable=status, anchor="w", justify="left")
    said.pack(side="left", fill="x", expand=True)
    said.bind("<Configure>", lambda e: said.configure(wraplength=max(e.width - 10, 200)))
    return progress


def menus(root: tk.Tk, entries: Sequence[tuple[str, Sequence[Entry]]]) -> None:
    """Every action once more, with its key: what the mouse can do, the keyboard can."""
    top = tk.Menu(root)
    root.configure(menu=top)
    aqua = root.tk.call("tk", "windowingsystem") == "aqua"
    shown, bound = ("Command-", "Command") if aqua else ("Ctrl+", "Control")
    for title, under in entries:
        menu = tk.Menu(top, tearoff=False)
        top.add_cascade(label=title, menu=menu, underline=0)
        for text, key, does in under:
            menu.add_command(label=text, accelerator=f"{shown}{key.upper()}", command=does)
            root.bind(f"<{bound}-{key}>", partial(_run, does))


def _run(does: Does, _: object) -> str:
    """A key does what its menu entry does, and nothing else."""
    does()
    return "break"
