"""Errors of gauges and of the difference of two readings.

Sources: EN 837-1:1996, Table 11 (class = largest error in % of the span) [S2];
US Army ordnance course MM0486 [S]; JCGM 100:2008 (GUM) 5.2 and F.1.2.3 [M].

Not here: G08, the GUM's ten resistors in series, a sum of ten; the program only takes the
difference of two readings. What it shows is kept below: one gauge's offset cancels (r = 1),
two gauges' errors add in squares (r = 0).
"""

from __future__ import annotations

import math

import pytest

from siltbook.batch.model import Reading
from siltbook.batch.numbers.history import histories
from siltbook.checks.gauges import drop_uncertainty
from siltbook.templates.units import metres_per
from tests.checks.builders import book, reading

BAR = metres_per("bar")


def largest_error(full_scale: float, gauge_class: float) -> float:
    """The error of one gauge behind the program's u of two: rectangular, u = e / sqrt 3."""
    u = drop_uncertainty(
        0.0, gauges="two gauges", full_scale=full_scale, gauge_class=gauge_class, division=0.0
    )
    assert u is not None
    return u / math.sqrt(2.0) * math.sqrt(3.0)


@pytest.mark.parametrize(
    ("full_scale", "gauge_class", "error"),
    [
        pytest.param(10.0, 1.6, 0.16, id="G01 EN 837-1 Table 11 [S2]: 0-10 bar, class 1.6"),
        # The class goes by the span: for -1 to 5 bar enter 6 as the full scale.
        pytest.param(6.0, 1.0, 0.06, id="G02 EN 837-1 Table 11 [S2]: -1 to 5 bar, class 1.0"),
        pytest.param(500.0, 2.0, abs(260.0 - 250.0), id="G03 MM0486 [S]: 260 at 250 psi is +2 %"),
        pytest.param(500.0, 2.0, abs(240.0 - 250.0), id="G04 MM0486 [S]: 240 at 250 is -2 %"),
    ],
)
def test_the_class_is_a_share_of_full_scale(
    full_scale: float, gauge_class: float, error: float
) -> None:
    assert largest_error(full_scale, gauge_class) == pytest.approx(error, abs=1e-12)


def test_g05_two_gauges_add_in_squares() -> None:
    """Class 1.6, 0-10 bar, r = 0: 0.130639 bar, which is 1.332152 m (GUM 5.2 [M], [C])."""
    u = drop_uncertainty(
        5.0, gauges="two gauges", full_scale=10 * BAR, gauge_class=1.6, division=0.0
    )
    assert u is not None
    assert u / BAR == pytest.approx(0.130639, abs=1e-6)
    assert u == pytest.approx(1.332152, abs=1e-6)


def test_one_gauges_offset_cancels() -> None:
    """r = 1 and nothing else: 0 (GUM F.1.2.3 [M]); read to half a 0.2 bar division: 0.416297 m.

    Without a full scale: with it, a share of the class is taken not to cancel, by no source.
    """
    one = {"gauges": "one gauge", "full_scale": None, "gauge_class": 1.6}
    assert drop_uncertainty(0.0, **one, division=0.0) == 0.0  # type: ignore[arg-type]
    # The width of the interval is half of the division: 0.1 bar.
    u = drop_uncertainty(0.0, **one, division=0.1 * BAR)  # type: ignore[arg-type]
    assert u == pytest.approx(0.416297, abs=1e-6)


def drop_of(inlet: float, outlet: float) -> float:
    """The drop of one reading [m], typed in bar, on the program's way."""
    (history,) = histories(book([reading(1, inlet, outlet)]), None)
    (entry,) = history.entries
    assert isinstance(entry, Reading)
    assert entry.drop is not None
    return entry.drop


def test_g06_an_offset_leaves_the_drop_as_it_is() -> None:
    """+0.1 bar on 3.2 and 2.6 bar: the drop stays 0.6 bar (GUM F.1.2.3 [M])."""
    assert drop_of(3.3, 2.7) / BAR == pytest.approx(0.6, abs=1e-12)
    assert drop_of(3.3, 2.7) == pytest.approx(drop_of(3.2, 2.6), abs=1e-12)


def test_g07_a_gain_error_does_not_cancel() -> None:
    """+2 % on a drop of 5.0 m reads 5.1 m [C]; u is that tenth of a metre over sqrt 3."""
    inlet, outlet = 20.0 / BAR, 15.0 / BAR
    assert drop_of(1.02 * inlet, 1.02 * outlet) == pytest.approx(5.1, abs=1e-12)
    u = drop_uncertainty(5.0, gauges="one gauge", full_scale=None, gauge_class=2.0, division=0.0)
    assert u == pytest.approx((5.1 - 5.0) / math.sqrt(3.0), abs=1e-12)
