"""Words that nobody can read never reassure more than the worse that they may say."""

from __future__ import annotations

from typing import Any

import pytest

from siltbook.batch.job import assess_bytes
from tests.whole.verdicts import day, filled, reading, work

FINE = (3.2, 3.0)  # inlet and outlet [bar]
REGISTER = [{"Station": "North 1", "Wanted field pressure": 1.0}]


def judged(readings: list[Any], done: list[Any]) -> tuple[str, str, list[str]]:
    book = filled(Stations=REGISTER, Readings=readings, Work_done=done)
    found = assess_bytes(book, "farm.xlsx")
    (result,) = found.stations
    reason = result.judgement.reason
    return str(result.verdict), reason, [f.message for f in found.findings]


@pytest.mark.at_length(usual=7)
@pytest.mark.parametrize("header", ["Click heard", "Water heard", "Water at outlet"])
@pytest.mark.parametrize("words", ["not heard", "dry", "closed", "off", "?", "-", "weak"])
def test_a_sign_in_words_that_nobody_can_read_is_no_sign(header: str, words: str) -> None:
    """It counted as blank: the station was In range behind a flush that nobody had heard."""
    done = [work(day(2), **{header.replace(" ", "_"): words})]
    verdict, reason, said = judged([reading(day(1), *FINE), reading(day(3), *FINE)], done)
    assert verdict == "check-flush-gear"
    assert reason.startswith(f"Flush of 2026-06-02: '{words}' in '{header}', which cannot be read;")
    assert f"{header} '{words}': a flush counts as one without it." in reason
    (message,) = (m for m in said if m.startswith("Work done!"))
    assert f"not one of the choices: read '{words}'; accepted: yes, no. Pick from" in message


def test_a_sign_that_is_not_given_is_a_blank_one() -> None:
    readings = [reading(day(1), *FINE), reading(day(3), *FINE)]
    for words in ("n/a", "not applicable"):
        verdict, reason, _ = judged(readings, [work(day(2), Click_heard=words)])
        assert verdict == "in-range"
        assert f"Click heard '{words}': the sign counts as blank." in reason


@pytest.mark.at_length(usual=5)
@pytest.mark.parametrize("header", ["Flow", "Field pressure"])
@pytest.mark.parametrize("words", ["dry", "closed", "off", "none", "?"])
def test_a_flow_or_field_pressure_that_nobody_can_read_is_read_again(
    header: str, words: str
) -> None:
    """It counted as blank, and 'closed' beside a small drop was In range."""
    last = {**reading(day(2), *FINE), header: words}
    verdict, reason, said = judged([reading(day(1), *FINE), last], [])
    assert verdict == "re-read"
    assert (
        f"The reading of 2026-06-02 has '{words}' in '{header}', which cannot be read: that may "
        "mean no flow, or no pressure."
    ) in reason
    assert any(f"not a number: read '{words}'; accepted: a number in " in m for m in said)
    over = {**reading(day(2), 3.2, 2.5), header: words}
    assert judged([reading(day(1), *FINE), over], [])[0] == "flush"


@pytest.mark.parametrize("header", ["Flow", "Field pressure"])
def test_a_dash_in_place_of_a_number_is_a_blank_cell(header: str) -> None:
    for words in ("-", "n/a", "not read", "–"):
        last = {**reading(day(2), *FINE), header: words}
        assert judged([reading(day(1), *FINE), last], [])[0] == "in-range"


def test_a_field_pressure_says_nothing_where_none_is_wanted() -> None:
    last = {**reading(day(2), *FINE), "Field pressure": "off"}
    book = filled(Readings=[reading(day(1), *FINE), last])
    (result,) = assess_bytes(book, "farm.xlsx").stations
    assert str(result.verdict) == "in-range"
