"""The palette: readable, in order in grey, apart under colour blindness, never colour alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from siltbook.batch.model import Verdict
from siltbook.checks.findings import Severity
from siltbook.templates import look, palette


def test_every_verdict_has_a_look_in_the_order_of_urgency() -> None:
    assert list(look.VERDICTS) == [v.value for v in Verdict]
    assert look.VERDICTS["check-field"].shown == "Check field side"
    assert look.VERDICTS["escalate"].label == "▲ Escalate"
    assert set(look.SEVERITIES) == {s.value for s in Severity}


def test_symbols_and_words_and_colours_are_all_different() -> None:
    for part in ("symbol", "shown", "fill"):
        assert len({getattr(one, part) for one in look.VERDICTS.values()}) == len(Verdict)


@pytest.mark.parametrize("verdict", list(look.VERDICTS))
def test_text_stands_out_from_its_fill(verdict: str) -> None:
    one = look.VERDICTS[verdict]
    assert palette.contrast(one.fill, one.text) >= palette.LEAST_CONTRAST


def test_the_fills_hold_their_distances(capsys: pytest.CaptureFixture[str]) -> None:
    """In order in grey, and any two apart whoever looks."""
    assert palette.main([]) == 0
    said = capsys.readouterr().out
    assert said.endswith(f"\n{len(Verdict)} fills: every distance is held.\n")
    table = said[: said.rindex("\n", 0, -1) + 1]
    assert table.count("\n") == 8
    page = Path(__file__).parents[2] / "docs" / "method.md"
    assert table in page.read_text(encoding="utf-8"), f"docs/method.md lacks\n{table}"


def test_green_says_fine_and_nothing_else() -> None:
    """What is fine is not of the colours of what must be acted on: warm and blue."""
    import numpy as np

    fills = palette.linear_of([one.fill for one in look.VERDICTS.values()])
    _, a, b = palette.lab(fills).T
    hues = dict(zip(look.VERDICTS, np.degrees(np.arctan2(b, a)) % 360, strict=True))
    colourful = dict(zip(look.VERDICTS, np.hypot(a, b) > 10, strict=True))
    green = [name for name, hue in hues.items() if 110 < hue < 190 and colourful[name]]
    assert green == [Verdict.IN_RANGE]
    assert not colourful[Verdict.RESTING]  # next to white: nobody is asked for anything


def test_the_nearest_two_are_found() -> None:
    """Grey, a little lighter grey, white: 50.03, 50.43 and 100 in lightness."""
    fills = ("#777777", "#787878", "#FFFFFF")
    looks = [
        look.VerdictLook(name, "", fill, "#000000") for name, fill in zip("abc", fills, strict=True)
    ]
    table = palette.measured(looks)
    assert "| seen by all | a (#777777) and b (#787878) | 0.4 | 12 |" in table
    assert "| printed in grey | a (#777777) and b (#787878) | 0.4 | 5.5 |" in table
    assert table[-1] == "| text on its colour | a (#777777) | 4.7:1 | 4.5:1 |"


def test_the_distances_are_those_of_the_standards() -> None:
    """Known values: black and white 21:1 (WCAG 2.1); L* of mid grey #777777 is 50.03."""
    assert palette.contrast("#FFFFFF", "#000000") == pytest.approx(21.0)
    grey = palette.linear_of(["#777777"])
    assert float(palette.lightness(grey)[0]) == pytest.approx(50.03, abs=0.01)
    assert palette.lab(palette.linear_of(["#FF0000"]))[0] == pytest.approx(
        [53.23, 80.11, 67.22], abs=0.1
    )


def test_two_fills_that_are_alike_are_named() -> None:
    found = palette.faults(["#303030", "#313131", "#F0F0F0"])
    assert "#303030 to #313131: lightness rises by 0.5, 5.5 is asked" in found
    assert any(f.startswith("#303030 and #313131: 0.") and "with tritanopia" in f for f in found)


@pytest.mark.parametrize("count", [2, len(Verdict) + 1, 15])
def test_a_new_verdict_needs_no_search_for_colours(
    count: int, capsys: pytest.CaptureFixture[str]
) -> None:
    assert palette.main([str(count)]) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    fills = [line.split('"')[1] for line in printed.out.splitlines()]
    assert len(fills) == count
    assert palette.faults(fills) == []
    assert all(palette.contrast(f, palette.text_on(f)) >= palette.LEAST_CONTRAST for f in fills)


def test_more_fills_than_the_ramp_holds_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert palette.main(["17"]) == 2
    assert capsys.readouterr().err == "17 fills do not hold a step of 5.5 in lightness\n"
    assert palette.main(["16"]) == 2
    assert "12 is asked" in capsys.readouterr().err


def test_every_colour_of_a_verdict_stands_in_one_place() -> None:
    """Charts, pages, window and papers ask the palette; none repeats its colours."""
    root = Path(look.__file__).parents[1]
    pages = (p for f in ("batch", "checks", "templates", "docs") for p in (root / f).rglob("*.py"))
    text = "".join(page.read_text(encoding="utf-8").upper() for page in pages)
    fills = {one.fill for one in look.VERDICTS.values()}
    assert {fill: text.count(fill) for fill in fills} == dict.fromkeys(fills, 1)
    assert text.count(look.RESULT_TAB) == 1
    assert len(set(look.SERIES)) == len(look.SERIES)
