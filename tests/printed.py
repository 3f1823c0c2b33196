"""Pages of a PDF as their text boxes stand, for tests of what is printed; by poppler."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import dataclass

import pytest

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
