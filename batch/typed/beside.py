"""What people put on a sheet beside the values of its cells: notes, pictures, shapes, charts.

The words in shapes, in headers and in footers are typed as well, and so are the links. Formats
(colours, widths, hidden rows, filters) are not looked at: any program that saves a book writes them
anew in its own way.
"""

from __future__ import annotations

import html
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from urllib.parse import unquote

from siltbook.batch.package.opened import Package, parser

_NAMED = 3  # notes named with their words
_SHOWN = 60  # characters of a note that are shown
_DRAWN = {
    "pic": "picture", "sp": "shape", "cxnSp": "shape", "grpSp": "group of shapes",
    "contentPart": "drawing by hand",
}  # fmt: skip
_PLURAL_FIRST = ("group of shapes", "drawing by hand", "picture behind the sheet")
_LINKED = {
    "image": "picture behind the sheet", "oleObject": "object", "package": "object",
    "ctrlProp": "control",
}  # fmt: skip
_ANCHORS = ("twoCellAnchor", "oneCellAnchor", "absoluteAnchor")
IN_SHAPE, LINK, IN_MARGIN = "words in a shape", "link to", "words in the header or footer"
_MARGINS = re.compile(rb"<(?:\w+:)?headerFooter\b[^>]*>(.*?)</(?:\w+:)?headerFooter>", re.DOTALL)
_MARGIN = re.compile(rb"<(?:\w+:)?(?:odd|even|first)(?:Header|Footer)\b[^>]*>([^<]+)<")
# Where on the page, in which font, size and colour, and what is filled in at printing: codes of
# ISO/IEC 29500-1:2016, 18.3.1.46 (oddHeader).
_CODE = re.compile(r'&(?:"[^"]*"|K(?:[0-9A-Fa-f]{6}|\d\d[+-]\d{3})|\d+|[^&])')


@dataclass(frozen=True)
class Note:
    """A note or a discussion at a cell, its words on one line."""

    cell: str
    words: str


@dataclass(frozen=True)
class Beside:
    """The notes of a sheet, how many of each kind are drawn on it, and what else is typed there.

    `typed` has where words stand (`IN_SHAPE`, `LINK`, `IN_MARGIN`), and the words on one line.
    """

    notes: tuple[Note, ...] = ()
    drawn: Mapping[str, int] = field(default_factory=dict)
    typed: tuple[tuple[str, str], ...] = ()


NOTHING = Beside()


def beside(package: Package, part: str) -> Beside:
    """What stands on the sheet with this part. Raises what reading raises."""
    notes: list[Note] = []
    drawn: Counter[str] = Counter()
    typed: list[tuple[str, str]] = []
    for relation in package.relations(part):
        if relation.external and relation.kind == "hyperlink":
            typed.append((LINK, relation.target))
        if relation.external or not package.has(relation.target):
            continue
        if relation.kind in ("comments", "threadedComment"):
            reading = _Notes()
            _fed(reading, package.read(relation.target))
            notes += reading.found
        elif relation.kind == "drawing":
            drawing = _Drawn()
            _fed(drawing, package.read(relation.target))
            drawn.update(drawing.found)
            typed += [(IN_SHAPE, words) for words in drawing.said]
        elif relation.kind in _LINKED:
            drawn[_LINKED[relation.kind]] += 1
    return Beside(tuple(notes), drawn, tuple(dict.fromkeys(typed)))


def margins(sheet: bytes) -> Iterator[tuple[str, str]]:
    """The words in the headers and footers of a sheet's part, without the codes among them."""
    for found in _MARGINS.findall(sheet):
        for text in _MARGIN.findall(found):
            words = html.unescape(text.decode("utf-8", "replace")).replace("&&", "\0")
            if said := " ".join(_CODE.sub(" ", words).replace("\0", "&").split()):
                yield IN_MARGIN, said


class _Notes:
    """Reads a part of notes or of discussions."""

    def __init__(self) -> None:
        self.found: list[Note] = []
        self._cell, self._said, self._inside = "", [""], False

    def start(self, name: str, attrs: dict[str, str]) -> None:
        local = name.rpartition("|")[2]
        if local in ("comment", "threadedComment"):
            self._cell, self._said = attrs.get("ref", ""), []
        self._inside |= local == "text"

    def data(self, text: str) -> None:
        if self._inside:
            self._said.append(text)

    def end(self, name: str) -> None:
        local = name.rpartition("|")[2]
        self._inside &= local != "text"
        words = " ".join("".join(self._said).split())
        if local in ("comment", "threadedComment") and words:
            self.found.append(Note(self._cell, words))


class _Drawn:
    """Reads a part of drawings: the kind and the words of every thing, one for each anchor."""

    def __init__(self) -> None:
        self.found: list[str] = []
        self.said: list[str] = []
        self._frame, self._told = False, True
        self._inside, self._again, self._words = False, False, [""]

    def start(self, name: str, _: dict[str, str]) -> None:
        local = name.rpartition("|")[2]
        if local in _ANCHORS:
            self._frame = self._told = False
            self._words = []
        elif not self._told and (local in _DRAWN or (self._frame and local == "chart")):
            self._told = True
            self.found.append(_DRAWN.get(local, "chart"))
        self._frame |= local == "graphicFrame"
        self._inside |= local == "t"
        self._again |= local == "Fallback"  # the same once more, for older programs

    def data(self, text: str) -> None:
        if self._inside and not self._again:
            self._words.append(text)

    def end(self, name: str) -> None:
        local = name.rpartition("|")[2]
        self._inside &= local != "t"
        self._again &= local != "Fallback"
        if local in ("p", "br"):
            self._words.append(" ")
        if local not in _ANCHORS:
            return
        if self._frame and not self._told:
            self.found.append("object")
        if words := " ".join("".join(self._words).split()):
            self.said.append(words)


def _fed(handler: _Notes | _Drawn, data: bytes) -> None:
    reading = parser()
    reading.StartElementHandler = handler.start
    reading.EndElementHandler = handler.end
    reading.CharacterDataHandler = handler.data
    reading.Parse(data, True)


def gone(old: Beside, new: Beside) -> list[str]:
    """What stands on the old sheet and not on the new one, one clause for each kind.

    A note whose words stand on the new sheet at another cell is not gone: rows move.
    """
    drawn = [many(count, kind) for kind, count in more_drawn(old, new).items()]
    typed = lost_typed(old, new)
    more = [many(len(typed) - _NAMED, "more text")] if len(typed) > _NAMED else []
    said = [f"{where} '{_short(words)}'" for where, words in typed[:_NAMED]]
    return [*_named(lost_notes(old, new)), *drawn, *said, *more]


def lost_notes(old: Beside, new: Beside) -> list[Note]:
    """The notes of `old` whose words stand nowhere in `new`."""
    left = Counter(note.words for note in new.notes)
    lost = []
    for note in old.notes:
        if left[note.words]:
            left[note.words] -= 1
        else:
            lost.append(note)
    return lost


def lost_typed(old: Beside, new: Beside) -> list[tuple[str, str]]:
    """The words and links of `old` that `new` has not."""
    left = {_key(*one) for one in new.typed}
    return [one for one in old.typed if _key(*one) not in left]


def more_drawn(old: Beside, new: Beside) -> dict[str, int]:
    """How many more of each kind are drawn on `old` than on `new`."""
    return dict(sorted((Counter(old.drawn) - Counter(new.drawn)).items()))


def _named(notes: list[Note]) -> Iterator[str]:
    for note in notes[:_NAMED]:
        yield f"note at {note.cell} '{_short(note.words)}'"
    if len(notes) > _NAMED:
        yield f"{many(len(notes) - _NAMED, 'more note')}"


def _key(where: str, words: str) -> tuple[str, str]:
    """By what two texts are compared: programs write the path before a link's end anew."""
    end = unquote(words).rstrip("/").rpartition("/")[2].casefold()
    return where, end if where == LINK else words


def _short(words: str) -> str:
    return words[:_SHOWN] + ("…" if len(words) > _SHOWN else "")


def many(count: int, what: str) -> str:
    """A count with its word: '1 chart', '2 groups of shapes'."""
    first, *rest = what.split(" ", 1) if what in _PLURAL_FIRST else (what,)
    return f"1 {what}" if count == 1 else " ".join((f"{count:,} {first}s", *rest))
