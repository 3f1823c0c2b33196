"""The flow exponent of a station: what counts as clean, and when the evidence is good enough."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from siltbook.batch.model import FlowFit, History, Reading, Station, Work
from siltbook.batch.numbers.flowfit import clean_readings, fit_exponent, t_quantile_80
from siltbook.batch.numbers.runs import cut_runs
from siltbook.checks.changed import ChangedGauge
from tests.numbers.logs import STATION, log, on, read, work

FLOWS = (24.0, 30.0, 36.0, 42.0, 48.0, 27.0, 45.0, 33.0, 39.0, 25.0)
Entries = list[Reading | Work]


def cleaned(
    n: float,
    *,
    flows: tuple[float, ...] = FLOWS,
    scatter: float = 0.0,
    meter: float = 0.0,
    creep: float = 0.0,
    flush_level: float = 1.0,
    seed: int = 1,
) -> Entries:
    """A reset every ten days, every other one a flush, and a reading the day after."""
    rng = random.Random(seed)
    entries: Entries = []
    for i, flow in enumerate(flows):
        kind = "hand cleaning" if i % 2 else "flush"
        level = (1.0 + creep * i) * (1.0 if i % 2 else flush_level)
        drop = level * (flow / 40.0) ** n * math.exp(rng.gauss(0.0, scatter))
        shown = flow * math.exp(rng.gauss(0.0, meter))
        entries += [work(10 * i, kind, cycles=3), read(10 * i + 1, drop, flow=shown)]
    return entries


FINE = replace(STATION, division=0.02)  # one gauge


def fitted(entries: Entries, at: Station = FINE) -> FlowFit:
    return fit_exponent(at, entries, 3, 0.0)


@pytest.mark.parametrize("n", [1.0, 1.3, 1.7, 2.0])
def test_clean_readings_at_many_flows_fix_the_exponent(n: float) -> None:
    fit = fitted(cleaned(n))
    assert fit.n == pytest.approx(n, abs=1e-9)
    assert fit.why_default == ""
    assert (fit.readings, fit.flow_low, fit.flow_high) == (10, 24.0, 48.0)
    assert fit.low is not None
    assert fit.high is not None
    assert fit.low < n < fit.high


def test_a_creeping_clean_drop_and_what_flushes_leave_do_not_move_it() -> None:
    """Both go with the flow here; a fit on the flow alone would be misled."""
    fit = fitted(cleaned(1.6, flush_level=1.5))
    assert fit.n == pytest.approx(1.6, abs=1e-9)
    rising = tuple(sorted(FLOWS))
    fit = fitted(cleaned(1.6, flows=(*rising[5:], *rising[:5]), creep=0.02))
    assert fit.n == pytest.approx(1.6, abs=0.1)


@pytest.mark.parametrize(("meter", "least", "most"), [(0.03, 0.76, 0.87), (0.0, 0.9, 1.0)])
def test_the_interval_holds_the_true_exponent(meter: float, least: float, most: float) -> None:
    """In eight cases of ten for the meter that is allowed for; more often for a better one."""
    seeds = range(400)
    fits = [fitted(cleaned(1.7, scatter=0.02, meter=meter, seed=s)) for s in seeds]
    held = sum((f.low or 9.0) <= 1.7 <= (f.high or 0.0) for f in fits) / len(fits)
    assert least <= held <= most


@pytest.mark.parametrize(
    ("entries", "why"),
    [
        ([], "0 clean readings with a flow, 8 are needed"),
        (cleaned(1.5)[:14], "7 clean readings with a flow, 8 are needed"),
        (
            cleaned(1.5, flows=(36.0, 38.0, 40.0, 42.0, 44.0, 46.0, 48.0, 50.0)),
            "largest flow only 1.39 times the smallest, 1.5 is needed",
        ),
        (cleaned(1.5, scatter=0.3), "standard error 0."),
        (cleaned(0.4), "0.40 lies outside 1 to 2.2: more than the flow moved the drop"),
        (cleaned(3.0), "3.00 lies outside 1 to 2.2: more than the flow moved the drop"),
    ],
)
def test_without_enough_evidence_two_is_kept_and_it_says_why(entries: Entries, why: str) -> None:
    fit = fitted(entries)
    assert fit.n == 2.0
    assert fit.why_default.startswith(why)


def test_a_coarse_gauge_keeps_two_however_well_the_readings_happen_to_lie() -> None:
    fit = fitted(cleaned(1.5), replace(STATION, division=1.0))
    assert fit.n == 2.0
    assert fit.why_default.startswith("standard error")
    assert fit.estimate == pytest.approx(1.5, abs=1e-6)


def test_two_gauges_with_a_lasting_offset_cannot_fix_it() -> None:
    two = replace(STATION, gauges="two gauges", full_scale=60.0, gauge_class=1.6, division=0.02)
    assert fitted(cleaned(1.5), two).why_default.startswith("standard error")
    for unknown in (replace(FINE, gauges=None), STATION, replace(two, gauge_class=None)):
        assert fitted(cleaned(1.5), unknown).why_default == (
            "the gauge data do not say how far reading and offset could move it"
        )
    fine = replace(two, gauge_class=0.1)
    assert fitted(cleaned(1.5), fine).n == pytest.approx(1.5, abs=1e-6)


def test_an_estimate_a_little_outside_is_taken_to_the_bound() -> None:
    fit = fitted(cleaned(0.97))
    assert (fit.n, fit.why_default) == (1.0, "")
    assert fit.estimate == pytest.approx(0.97)


def test_no_reference_flow_no_exponent() -> None:
    assert fitted(cleaned(1.5), replace(FINE, reference_flow=None)).why_default == (
        "no reference flow"
    )


def test_flow_that_only_changed_with_the_work_says_so() -> None:
    flows = tuple(24.0 if i % 2 else 48.0 for i in range(10))
    assert fitted(cleaned(1.5, flows=flows)).why_default == (
        "the flow changed only along with the season or the work"
    )


def clean(*entries: Reading | Work) -> list[float]:
    return [r.drop for r in clean_readings(STATION, entries, 3, 0.0)]


def test_clean_is_soon_after_work_that_cleans() -> None:
    assert clean(read(0, 1.0, flow=30)) == []
    for kind in ("hand cleaning", "screen replaced", "flush"):
        done = work(0, kind, cycles=3)
        assert clean(done, read(0, 1.0, flow=30), read(2, 1.1, flow=31)) == [1.0, 1.1]
        assert clean(done, read(3, 1.0, flow=30)) == []
    assert clean(work(0, "flush", cycles=2), read(0, 1.0, flow=30)) == []
    assert clean(work(0, "solenoid replaced"), read(0, 1.0, flow=30)) == []


def test_a_reading_over_the_limit_without_flow_or_drop_is_not_clean() -> None:
    done = work(0)
    assert clean(done, read(0, 5.0, flow=30), read(1, 5.1, flow=30)) == [5.0]
    assert clean(done, read(0, 1.0)) == []
    assert clean(done, read(0, 0.0, flow=30)) == []
    assert clean(done, read(0, 1.0, flow=30, why="outlet above inlet")) == []


def test_the_runs_use_the_stations_own_exponent() -> None:
    """At half the flow a drop of 1 m is 4 m with n = 2, 2 m with n = 1."""
    history = log(read(0, 1.0, flow=20), read(5, 1.0, flow=20))
    own = replace(history, flow_fit=FlowFit(n=1.0, why_default=""))
    assert cut_runs(history, 3)[0].drops == (4.0, 4.0)
    assert cut_runs(own, 3)[0].drops == (2.0, 2.0)
    assert History(STATION, ()).exponent == 2.0


def test_quantile_of_student() -> None:
    """Against the library."""
    from scipy.stats import t

    for freedom in (3, 4, 5, 7, 12, 40):
        assert t_quantile_80(freedom) == pytest.approx(t.ppf(0.9, freedom), rel=1e-3)


def test_only_readings_on_one_gauge_fix_it() -> None:
    """A gauge that reads a tenth more from the ninth reading on would bend the law."""
    changed = replace(FINE, changed=(ChangedGauge(row=3, since=on(80), division=0.05),))
    entries = cleaned(1.7)
    for i, entry in enumerate(entries):
        if isinstance(entry, Reading) and entry.date >= on(80):
            entries[i] = replace(entry, drop=1.1 * (entry.drop or 0.0), gauge_row=3)
    fit = fitted(entries, changed)
    assert fit.readings == 8
    assert fit.n == pytest.approx(1.7, abs=1e-9)


def test_the_gauge_that_was_read_most_says_how_far_it_could_err() -> None:
    changed = replace(FINE, division=None, changed=(ChangedGauge(row=3, since=on(0)),))
    entries = [replace(e, gauge_row=3) if isinstance(e, Reading) else e for e in cleaned(1.7)]
    said = "the gauge data do not say how far reading and offset could move it"
    assert fitted(entries, replace(changed, division=0.02)).why_default == said
    known = replace(changed, changed=(ChangedGauge(row=3, since=on(0), division=0.02),))
    assert fitted(entries, known).n == pytest.approx(1.7, abs=1e-9)
