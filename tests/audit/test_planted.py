"""A small, fixed part of the benchmark of planted faults (tests/benchmarks/planted.py)."""

from __future__ import annotations

import copy

import pytest

from siltbook.batch.audit import power
from siltbook.batch.audit.model import State
from tests.benchmarks.faults import FAULTS, Fault
from tests.benchmarks.planted import FORETOLD, asked, honest, is_found, of

SEED, GAUGE, WEEKS = 4_000, 0.02, 26
SURE = (
    "an invented staircase", "sides swapped", "kPa under bar",
    "readings entered at the end", "weeks of the farm entered again", "flushes taken out",
)  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.words)
def test_a_stronger_fault_changes_no_less_of_the_season(fault: Fault) -> None:
    before = of(SEED, GAUGE, WEEKS)
    changed = []
    for strength in fault.strengths:
        rows = copy.deepcopy(before)
        touched = fault.plant(rows, strength)
        lists = [(rows.readings, before.readings), (rows.work, before.work)]
        changed.append(sum(row not in old for new, old in lists for row in new)
                       + sum(row not in new for new, old in lists for row in old))  # fmt: skip
        moved = rows.readings != before.readings or rows.work != before.work
        assert touched or not moved
    assert changed == sorted(changed)


@pytest.mark.at_length(usual=3)
@pytest.mark.parametrize("fault", [f for f in FAULTS if f.words in SURE], ids=lambda f: f.words)
def test_strong_faults_are_found_on_a_usual_gauge(fault: Fault) -> None:
    assert is_found(fault, fault.strengths[-1], SEED, GAUGE, WEEKS)


def test_a_season_without_a_fault_gives_no_new_place() -> None:
    nothing = Fault("nothing", "", (0, 0, 0), lambda rows, _: [s["station"] for s in rows.stations])
    assert not is_found(nothing, 0, SEED, GAUGE, WEEKS)
    assert not honest(SEED, GAUGE, WEEKS)


def test_the_benchmark_holds_what_is_promised() -> None:
    assert len(FAULTS) >= 25
    assert len({f.words for f in FAULTS}) == len(FAULTS)
    assert set(FORETOLD) == {fault.words for fault in power.FAULTS}
    named = {words for pairs in FORETOLD.values() for words, _ in pairs}
    assert named <= {f.words for f in FAULTS}


def test_an_honest_hand_repeats_on_a_coarse_gauge_and_raises_no_alarm() -> None:
    """36 rows that repeat, on a gauge of 0.05 bar read every day or two."""
    rows = of(91002, 0.05, 26, slips=False)
    results = {r.rule.code: r for r in asked(rows)[1]}
    own = results["book-findings"]
    assert own.state is State.QUIET
    assert "identical readings copied down" in own.said
    assert State.LOOK not in {results[code].state for code in ("copied-block", "stuck-gauge")}


def test_a_season_without_slips_is_the_same_but_for_exchanged_sides() -> None:
    assert any(r["inlet"] < r["outlet"] for r in of(91001, 0.05, 12).readings)
    assert not any(r["inlet"] < r["outlet"] for r in of(91001, 0.05, 12, slips=False).readings)
