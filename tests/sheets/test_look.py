"""The palette: readable, in order in grey, apart under colour blindness, never colour alone.

The matrices of Machado et al. (2009), severity 1, are written down from memory.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from siltbook.batch.model import Verdict
from siltbook.checks.findings import Severity
from siltbook.templates import look

CVD = {
    "none": np.eye(3),
    "protanopia": np.array([
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopia": np.array([
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]),
    "tritanopia": np.array([
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip


def linear(colour: str) -> np.ndarray:
    s = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(s <= 0.04045, s / 12.92, ((s + 0.055) / 1.055) ** 2.4)


def luminance(colour: str) -> float:
    return float(linear(colour) @ [0.2126, 0.7152, 0.0722])


def lab(rgb: np.ndarray) -> np.ndarray:
    to_xyz = np.array([
        [0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505],
    ])  # fmt: skip
    t = to_xyz @ np.clip(rgb, 0, 1) / [0.95047, 1.0, 1.08883]
    x, y, z = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def test_every_verdict_has_a_look_in_the_order_of_urgency() -> None:
    assert list(look.VERDICTS) == [v.value for v in Verdict]
    assert look.VERDICTS["check-field"].shown == "Check field side"
    assert look.VERDICTS["escalate"].label == "▲ Escalate"
    assert set(look.SEVERITIES) == {s.value for s in Severity}


def test_symbols_and_words_and_colours_are_all_different() -> None:
    for part in ("symbol", "shown", "fill"):
        assert len({getattr(one, part) for one in look.VERDICTS.values()}) == 12


@pytest.mark.parametrize("verdict", list(look.VERDICTS))
def test_text_stands_out_from_its_fill(verdict: str) -> None:
    one = look.VERDICTS[verdict]
    low, high = sorted((luminance(one.fill), luminance(one.text)))
    assert (high + 0.05) / (low + 0.05) >= 4.5


def test_lightness_rises_from_the_most_urgent_to_the_least() -> None:
    grey = [lab(np.full(3, luminance(one.fill)))[0] for one in look.VERDICTS.values()]
    steps = np.diff(grey)
    assert steps.min() >= 5.5


@pytest.mark.parametrize("kind", list(CVD))
def test_any_two_fills_differ_under_colour_blindness(kind: str) -> None:
    seen = {v: lab(CVD[kind] @ linear(one.fill)) for v, one in look.VERDICTS.items()}
    pairs = itertools.combinations(seen, 2)
    least = min((float(np.linalg.norm(seen[a] - seen[b])), a, b) for a, b in pairs)
    assert least[0] >= 12, least
