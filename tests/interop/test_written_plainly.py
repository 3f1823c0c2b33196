"""Nothing stands in a book that some program is known not to understand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.interop.books import BLANK, KINDS, ROOT, formulas, parts, produced
from tests.lint import lint
from tests.samples.load import SAMPLES

SHIPPED = sorted([*SAMPLES.rglob("*.xlsx"), *BLANK.parent.glob("*.xlsx")])


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("kind", KINDS)
def test_formulas_name_cells_and_write_numbers_out(kind: str) -> None:
    """No Table[Column], of which some programs know nothing; no 1E-6, which one cannot parse."""
    texts = [re.sub(r'"[^"]*"', '""', text) for _, text in formulas(produced(kind))]
    assert texts or kind in ("pack", "mapping", "round sheet")
    for text in texts:
        assert "[" not in text, text
        assert not re.search(r"(?<![$\w])\d+(\.\d+)?[Ee][-+]?\d", text), text


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_in_a_book_asks_for_a_repair(kind: str) -> None:
    assert lint(produced(kind)) == []


@pytest.mark.parametrize("kind", KINDS)
def test_no_commercial_program_is_named_as_the_maker(kind: str) -> None:
    assert "<Application>Siltbook</Application>" in parts(produced(kind))["docProps/app.xml"]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: str(path.relative_to(ROOT)))
def test_shipped_books_name_siltbook(path: Path) -> None:
    named = parts(path.read_bytes())["docProps/app.xml"]
    assert "<Application>Siltbook</Application>" in named
    assert "AppVersion" not in named


def test_every_chart_and_picture_says_in_words_what_it_shows() -> None:
    """The chart of Seasons as well as those of Trends."""
    for kind, count in (("reviewed", 13), ("seasons", 1)):
        drawings = [x for n, x in parts(produced(kind)).items() if n.startswith("xl/drawings/draw")]
        told = [re.findall(r"<xdr:cNvPr [^>]*>", xml) for xml in drawings]
        shown = [one for each in told for one in each]
        assert len(shown) == count
        assert all(re.search(r' descr="[A-Z][^"]{20,}"', one) for one in shown)
