"""The published rules of the file format, as a package of their own carries them.

`openxml-audit` checks packages against the element and attribute rules of the Open XML SDK, which
are those of ECMA-376 and its later versions.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from openxml_audit import OpenXmlValidator

from siltbook.batch.job import review_bytes
from tests.graft.packs import packed, parts, sheet_part
from tests.lean import lean
from tests.samples.load import SAMPLES


def faults(data: bytes, folder: Path) -> list[str]:
    """What breaks the rules, one line each."""
    path = folder / "book.xlsx"
    path.write_bytes(data)
    result = OpenXmlValidator(max_errors=50).validate(str(path))
    return [f"{e.part_uri}: {e.description}" for e in result.errors]


@pytest.fixture(scope="module")
def written() -> bytes:
    """A reviewed sample book."""
    book = (SAMPLES / "real-life-psi.xlsx").read_bytes()
    return review_bytes(book, "farm.xlsx", "farm.xlsx").package


def test_the_output_keeps_the_published_rules(tmp_path: Path) -> None:
    book = lean((SAMPLES / "mixed-units.xlsx").read_bytes())
    assert faults(review_bytes(book, "farm.xlsx", "farm.xlsx").package, tmp_path) == []


def test_running_again_keeps_them_too(written: bytes, tmp_path: Path) -> None:
    again = review_bytes(written, "farm.xlsx", "farm.xlsx").package
    assert faults(again, tmp_path) == []


def _in_sheet(old: bytes, new: bytes) -> Callable[[dict[str, bytes]], None]:
    def plant(content: dict[str, bytes]) -> None:
        part = sheet_part(packed(content), "Actions")
        assert old in content[part]
        content[part] = content[part].replace(old, new, 1)

    return plant


PLANTED = {
    "an element that no sheet has": _in_sheet(b"<sheetData>", b"<mystery/><sheetData>"),
    "a format that is no number": _in_sheet(b' s="', b' s="x'),
    "a kind of cell that there is not": _in_sheet(b't="inlineStr"', b't="inline"'),
}


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("words", PLANTED)
def test_a_planted_fault_breaks_them(words: str, written: bytes, tmp_path: Path) -> None:
    content = parts(written)
    PLANTED[words](content)
    assert faults(packed(content), tmp_path)
