"""Our sheet and table parts, rewritten for the book that they go into."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass

from siltbook.batch.graft.styles import StyleMap
from siltbook.batch.package.limits import GraftError
from siltbook.batch.package.relations import to_strict
from siltbook.batch.package.spans import attribute
from siltbook.templates.contract import RESULT_MARK

_STRING = re.compile(rb"<si>(.*?)</si>|<si/>", re.DOTALL)
# One pass over the sheet. The writer escapes '<' everywhere, so a tag is a tag and no text.
_PLACES = re.compile(
    rb'<c (?P<cell>r="[A-Z]+[0-9]+")(?: s="(?P<style>[0-9]+)")? t="s"><v>(?P<text>[0-9]+)</v></c>'
    rb'|(?P<head><(?:c|row|col) [^<>]*? (?:s|style)=")(?P<format>[0-9]+)"(?: cm="1")?'
    rb'|(?P<dynamic><c r="[A-Z]+[0-9]+") cm="1"'
    rb'|(?P<rule><(?:cfRule|colorFilter|sortCondition) [^<>]*?dxfId=")(?P<dxf>[0-9]+)"'
    rb'|(?P<view><sheetView(?: [^<>]*?)?) tabSelected="1"'
)
_TABLE_FORMAT = re.compile(r'( \w*[dD]xfId=")([0-9]+)"')
_TABLE_HEAD = re.compile(r'(<table [^<>]*? id=)"\d+"( name=)"[^"]*"( displayName=)"[^"]*"')
_SCALE = re.compile(rb'(<pageSetup [^<>]*?)scale="[0-9]+"')
_FORMULA = re.compile(rb"(<(f|formula|formula1|formula2)(?: [^<>]*)?>)([^<]+)")
_STRICT_HEAD = 4_000  # [bytes]; a sheet declares its namespaces in its first tag
_TABLE_FORMULA = re.compile(r"(<(?:calculatedColumnFormula|totalsRowFormula)>)([^<]+)")


@dataclass(frozen=True)
class Renumbering:
    """What a sheet part needs to know about the book."""

    styles: StyleMap
    strings: tuple[bytes, ...]  # content of each of our shared strings
    tables: Mapping[str, str]  # our table names that had to change -> new name


def shared_strings(data: bytes) -> tuple[bytes, ...]:
    """The content of every shared string of ours, markup and all."""
    return tuple(match[1] or b"<t/>" for match in _STRING.finditer(data))


def rewrite_sheet(data: bytes, book: Renumbering, *, opens: bool) -> bytes:
    """A sheet with the book's format indices and its texts inside its cells.

    Only the sheet on which the book `opens` is selected: what is typed goes into all that are.
    """
    cells, dxfs, strings = book.styles.cell, book.styles.dxf, book.strings
    formats = [b"%d" % number for number in cells]

    def new(match: re.Match[bytes]) -> bytes:
        if match["cell"]:
            style = b' s="%b"' % formats[int(match["style"])] if match["style"] else b""
            return b'<c %b%b t="inlineStr"><is>%b</is></c>' % (
                match["cell"], style, strings[int(match["text"])],
            )  # fmt: skip
        if match["head"]:
            return b'%b%b"' % (match["head"], formats[int(match["format"])])
        if match["rule"]:
            return b'%b%d"' % (match["rule"], dxfs[int(match["dxf"])])
        if opens and match["view"]:
            return match[0]
        # Dynamic-array flags point into a part that the book may use otherwise.
        return match["dynamic"] or match["view"]

    out = _PLACES.sub(new, data if book.styles.alike else _fitted(data))
    if book.tables:
        out = _FORMULA.sub(lambda m: m[1] + _renamed(m[3].decode(), book.tables).encode(), out)
    return out


def _fitted(sheet: bytes) -> bytes:
    """A sheet that prints one page wide by what its columns come to, and not by a scale.

    In a book with another default font a column of so many characters is as wide as a program
    makes it that may lack this font: whole lines and columns would go past the paper. A sheet
    that is split over pages by meaning stays as it is, since fitting knows no such pages.
    """
    if b"<colBreaks" in sheet or b"</sheetPr>" not in sheet or not _SCALE.search(sheet):
        return sheet
    sheet = _SCALE.sub(rb'\1fitToHeight="0"', sheet, count=1)
    return sheet.replace(b"</sheetPr>", b'<pageSetUpPr fitToPage="1"/></sheetPr>', 1)


def rewrite_table(text: str, number: int, name: str, book: Renumbering) -> str:
    """A table with its id and name in this book."""
    dxfs = book.styles.dxf
    text = _TABLE_FORMAT.sub(lambda m: f'{m[1]}{dxfs[int(m[2])]}"', text)
    quoted = attribute(name)
    text = _TABLE_HEAD.sub(lambda m: f'{m[1]}"{number}"{m[2]}{quoted}{m[3]}{quoted}', text, count=1)
    if book.tables:
        text = _TABLE_FORMULA.sub(lambda m: m[1] + _renamed(m[2], book.tables), text)
    return text


def _renamed(formula: str, tables: Mapping[str, str]) -> str:
    """A formula with the new names of tables where it refers to one by name."""
    for old, new in tables.items():
        pattern = rf"(?<![\w.'!]){re.escape(old)}(?=\[)"
        formula = re.sub(pattern, new, formula, flags=re.IGNORECASE)
    return formula


def strict_part(data: bytes) -> bytes:
    """A part of ours in the strict variant; a long one declares its namespaces at its head."""
    if len(data) > 10 * _STRICT_HEAD and b"<worksheet" in data[:_STRICT_HEAD]:
        head = to_strict(data[:_STRICT_HEAD].decode("utf-8", "surrogateescape"))
        return head.encode("utf-8", "surrogateescape") + data[_STRICT_HEAD:]
    return to_strict(data.decode()).encode()


def carries_mark(sheet: bytes, strings: bytes | None, part: str) -> bool:
    """Whether one of the cells A1 to A3 says that the sheet is ours.

    `strings` is the book's shared strings part, or None. A sheet that cannot be read is
    taken for a person's own, so that it is never replaced.
    """
    try:
        texts, numbers = _first_texts(sheet)
        if numbers and strings is not None:
            texts += _strings_at(strings, numbers)
    except (GraftError, ValueError, SyntaxError):
        return False
    return any(text.strip().startswith(RESULT_MARK) for text in texts)


def _first_texts(sheet: bytes) -> tuple[list[str], set[int]]:
    """Texts in A1:A3, and the indices of those that are shared."""
    from lxml import etree

    texts, numbers = [], set()
    stream = etree.iterparse(
        io.BytesIO(sheet), events=("end",), tag="{*}row",
        resolve_entities=False, no_network=True, load_dtd=False,
    )  # fmt: skip
    for count, (_, row) in enumerate(stream):
        for cell in row.iterfind("{*}c"):
            if cell.get("r") not in ("A1", "A2", "A3"):
                continue
            value = "".join(cell.itertext("{*}t", "{*}v"))
            if cell.get("t") == "s":
                numbers.add(int(value))
            else:
                texts.append(value)
        if count >= 2:  # rows come in order, so the third present row is the last that matters
            break
    return texts, numbers


def _strings_at(data: bytes, numbers: set[int]) -> list[str]:
    """The shared strings with these indices."""
    from lxml import etree

    stream = etree.iterparse(
        io.BytesIO(data), events=("end",), tag="{*}si",
        resolve_entities=False, no_network=True, load_dtd=False,
    )  # fmt: skip
    found = []
    for index, (_, item) in enumerate(stream):
        if index in numbers:
            found.append("".join(item.itertext("{*}t")))
        item.clear()
    return found
