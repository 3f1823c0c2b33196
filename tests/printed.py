"""Pages of a PDF as their text boxes stand, for tests of what is printed; by poppler."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from siltbook.templates.printing import LEAST_TYPE, SIDE

needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="pdftotext is missing")
_PAGE, _WORD = "{http://www.w3.org/1999/xhtml}page", "{http://www.w3.org/1999/xhtml}word"


@dataclass(frozen=True)
class Word:
    """One word and its box [pt], from the page's upper left corner."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


@dataclass(frozen=True)
class Page:
    """One page [pt] and its words from top to bottom as they are read."""

    width: float
    height: float
    words: tuple[Word, ...]


def boxed(pdf: bytes) -> list[Page]:
    """The pages of a PDF with their words' boxes."""
    done = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, check=True, capture_output=True
    )
    # Characters that XML cannot hold come through as they are.
    text = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "", done.stdout.decode("utf-8", "replace"))
    root = ET.fromstring(text)
    return [
        Page(float(page.get("width", 0)), float(page.get("height", 0)),
             tuple(_word(word) for word in page.iter(_WORD)))
        for page in root.iter(_PAGE)
    ]  # fmt: skip


def _word(node: ET.Element) -> Word:
    left, top, right, bottom = (float(node.get(k, 0)) for k in ("xMin", "yMin", "xMax", "yMax"))
    return Word(node.text or "", left, top, right, bottom)


_STREAM = re.compile(rb"stream\r?\n(.*?)\r?\nendstream", re.DOTALL)
_TYPE = re.compile(rb"/F\d+ ([\d.]+) Tf")


def smallest_type(pdf: bytes) -> float:
    """The size of the smallest letters of a PDF as LibreOffice writes it [pt]."""
    sizes = []
    for stream in _STREAM.findall(pdf):
        try:
            content = zlib.decompress(stream)
        except zlib.error:
            continue  # a font, or an image packed another way
        sizes += [float(size) for size in _TYPE.findall(content)] if b"BT" in content else []
    return min(sizes)


def faults(pdf: bytes) -> list[str]:
    """What a reader of the printed pages would stumble over, in words; nothing where all is well.

    Type under 8 pt, a page of fewer than five words, a word beyond the margin (there it is cut),
    and a word over another (text that is cut or runs on where it has no room).
    """
    found = []
    if (least := smallest_type(pdf)) < LEAST_TYPE - 0.05:  # programs round to their own units
        found.append(f"type of {least:.1f} pt")
    for number, page in enumerate(boxed(pdf), start=1):
        if len(page.words) < 5:
            found.append(f"page {number} holds {len(page.words)} words")
        edge = SIDE * 72 - 1
        found += [
            f"page {number}: '{word.text}' is cut at the margin"
            for word in page.words if word.left < edge or word.right > page.width - edge
        ]  # fmt: skip
        found += [f"page {number}: '{a.text}' stands over '{b.text}'" for a, b in _laid_over(page)]
    return found


def _laid_over(page: Page) -> Iterator[tuple[Word, Word]]:
    """Pairs of words of which one covers part of the other, by half a line and 2 pt."""
    ordered = sorted(page.words, key=lambda word: word.top)
    for at, one in enumerate(ordered):
        for other in ordered[at + 1 :]:
            if other.top > one.bottom:
                break
            across = min(one.right, other.right) - max(one.left, other.left)
            down = min(one.bottom, other.bottom) - other.top
            if across > 2.0 and down > 0.5 * min(one.bottom - one.top, other.bottom - other.top):
                yield one, other
