"""What the rules could have seen: said beside the answer, and right on faults that are typed."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from siltbook.batch.audit.job import audit_bytes
from siltbook.batch.audit.model import Audit, Power, Question
from siltbook.batch.audit.report import answer, seeable
from tests.amount import few
from tests.audit.farm import Farm, honest, looks


@cache
def audited() -> Audit:
    return audit_bytes(honest().package(), "farm.xlsx")


def found(audit: Audit) -> dict[str, int]:
    return {p.fault: p.found for p in audit.power}


def coarse() -> Farm:
    farm = honest()
    for row in farm.stations:
        row["division"] = 0.5
    for row in farm.readings:
        row["inlet"], row["outlet"] = round(2 * row["inlet"]) / 2, round(2 * row["outlet"]) / 2
    return farm


def test_what_could_not_be_seen_stands_beside_the_answer() -> None:
    said = answer(audited(), Question.TRUST)
    assert said.startswith(
        "Nothing that was asked speaks against the data, but little could have been seen."
    )
    assert "the rules find a gauge stuck for 8 readings in 10 of 10 cases" in said
    assert "pressures guessed to 10 divisions in 3 of 10 cases" in said


def test_much_is_said_only_where_each_fault_would_mostly_be_found() -> None:
    for lowest, words in ((7, "and much would"), (6, "but little could")):
        power = (Power("one fault", 10, 10), Power("another", lowest, 10))
        said = answer(replace(audited(), power=power), Question.TRUST)
        assert f"speaks against the data, {words} have been seen" in said
    assert "but little could" in answer(replace(audited(), power=()), Question.TRUST)
    assert seeable(()) == ""


@pytest.mark.at_length  # what could not be seen, below
def test_coarse_gauges_hide_a_stuck_one() -> None:
    """As the line says: what is planted in the workbook is found, or not found, as it was told."""
    stuck = "a gauge stuck for 8 readings"
    assert found(audited())[stuck] == 10
    assert found(audit_bytes(coarse().package(), "farm.xlsx"))[stuck] == 0
    for begin in few((4, 11, 18), 1):
        for farm, seen in ((honest(), True), (coarse(), False)):
            for row in (rows := farm.of("Cedar"))[begin : begin + 8]:
                row["inlet"] = rows[begin]["inlet"]
            assert ("stuck-gauge" in looks(farm.results())) == seen


@pytest.mark.at_length  # faults are planted by a fixed seed: test_planted.py
def test_the_same_book_gives_the_same_figures() -> None:
    assert audit_bytes(honest().package(), "farm.xlsx").power == audited().power
