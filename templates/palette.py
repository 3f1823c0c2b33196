"""Proposes verdict fills that hold the distances which the tests ask for.

    python -m siltbook.templates.palette 13

prints as many fills with their text colours, most urgent first: a ramp of lightness, darkest
first, of alternating warm and blue colours, any two of them apart under the common kinds of
colour blindness. `python -m siltbook.templates.palette` alone says how far the fills in `look`
lie apart, as the table that docs/method.md holds. Lightness and distance are those of CIE 1976
L*a*b* (CIE 15:2004, section 8.2.1); contrast is that of
WCAG 2.1 (W3C 2018, success criterion 1.4.3). The matrices of colour blindness are those of
Machado, Oliveira and Fernandes (2009), severity 1, written down from memory.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from siltbook.templates.look import BLACK, VERDICTS, WHITE, VerdictLook

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]

LEAST_STEP = 5.5  # of lightness between two neighbours [L*]
LEAST_APART = 12.0  # of any two fills, whoever looks [Delta E*ab]
LEAST_CONTRAST = 4.5  # of text and fill
_DARKEST, _LIGHTEST = 9.0, 96.0  # [L*]
_NEAR = 1.0  # how far a colour's lightness may lie from its place on the ramp [L*]
_STEP = 8  # between two tried values of red, green or blue
_SEEN = {
    "by all": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "with protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "with deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "with tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}
_LUMINANCE = (0.2126, 0.7152, 0.0722)
_TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
_WHITE_POINT = (0.95047, 1.0, 1.08883)  # D65


def _linear(rgb: Array) -> Array:
    """sRGB values [0 to 1] as linear light (IEC 61966-2-1:1999)."""
    import numpy as np

    return np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)


def linear_of(colours: Sequence[str]) -> Array:
    """Colours '#RRGGBB' as linear red, green and blue [0 to 1], a row each."""
    import numpy as np

    parts = [[int(c[i : i + 2], 16) / 255 for i in (1, 3, 5)] for c in colours]
    return _linear(np.array(parts, dtype=float))


def luminance(linear: Array) -> Array:
    """Relative luminance [0 to 1] of linear colours."""
    import numpy as np

    return np.asarray(linear @ np.array(_LUMINANCE))


def lightness(linear: Array) -> Array:
    """L* [0 to 100] of linear colours, as a grey print has them."""
    import numpy as np

    grey = luminance(linear)[..., None] * np.ones(3)
    return np.asarray(lab(grey)[..., 0])


def lab(linear: Array) -> Array:
    """CIE 1976 L*, a*, b* of linear colours; D65."""
    import numpy as np

    t = np.clip(linear, 0, 1) @ np.array(_TO_XYZ).T / np.array(_WHITE_POINT)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def seen(linear: Array) -> dict[str, Array]:
    """L*a*b* of linear colours as each kind of eye sees them."""
    import numpy as np

    return {kind: lab(linear @ np.array(matrix).T) for kind, matrix in _SEEN.items()}


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    low, high = sorted(map(float, luminance(linear_of([first, second]))))
    return (high + 0.05) / (low + 0.05)


def text_on(fill: str) -> str:
    """White or black, whichever stands out more from a fill."""
    return max((WHITE, BLACK), key=lambda text: contrast(text, fill))


def faults(fills: Sequence[str]) -> list[str]:
    """What a ramp of fills does not hold, in words; nothing where all is well."""
    import numpy as np

    linear = linear_of(fills)
    steps = np.diff(lightness(linear))
    found = [
        f"{a} to {b}: lightness rises by {step:.1f}, {LEAST_STEP} is asked"
        for a, b, step in zip(fills, fills[1:], steps, strict=False)
        if step < LEAST_STEP
    ]
    for kind, colours in seen(linear).items():
        for (a, one), (b, other) in combinations(zip(fills, colours, strict=True), 2):
            apart = float(np.linalg.norm(one - other))
            if apart < LEAST_APART:
                found.append(f"{a} and {b}: {apart:.1f} apart {kind}, {LEAST_APART:g} is asked")
    return found


def _name(verdict: VerdictLook) -> str:
    return f"{verdict.shown} ({verdict.fill})"


def measured(looks: Sequence[VerdictLook]) -> list[str]:
    """The nearest two fills for each kind of eye and in grey, and the faintest text, in Markdown.

    Distances are Delta E*ab, in grey the difference in lightness; each row says what is asked.
    """
    import numpy as np

    linear = linear_of([one.fill for one in looks])
    kinds = {f"seen {kind}": (colours, LEAST_APART) for kind, colours in seen(linear).items()}
    kinds["printed in grey"] = lightness(linear)[:, None], LEAST_STEP
    lines = ["| verdict colours | nearest two | apart | asked |", "|---|---|---|---|"]
    for kind, (places, least) in kinds.items():
        near, one, other = min(
            (float(np.linalg.norm(places[a] - places[b])), a, b)
            for a, b in combinations(range(len(looks)), 2)
        )
        pair = f"{_name(looks[one])} and {_name(looks[other])}"
        lines.append(f"| {kind} | {pair} | {near:.1f} | {least:g} |")
    least_of = min(looks, key=lambda one: contrast(one.fill, one.text))
    ratio = contrast(least_of.fill, least_of.text)
    lines.append(f"| text on its colour | {_name(least_of)} | {ratio:.1f}:1 | {LEAST_CONTRAST}:1 |")
    return lines


def propose(count: int) -> list[str]:
    """So many fills, darkest first; ValueError where none were found that hold the distances."""
    if not 2 <= count <= (_LIGHTEST - _DARKEST) / LEAST_STEP + 1:
        raise ValueError(f"{count} fills do not hold a step of {LEAST_STEP} in lightness")
    fills = _ramp(count)
    if found := faults(fills):
        raise ValueError("; ".join(found))
    return fills


def _ramp(count: int) -> list[str]:
    """Evenly spaced in lightness; of the colours at each place the one farthest from the others."""
    import numpy as np

    levels = np.array([*range(0, 256, _STEP), 255]) / 255
    tried = np.stack(np.meshgrid(levels, levels, levels), axis=-1).reshape(-1, 3)
    linear = _linear(tried)
    light, colours = lightness(linear), np.stack(list(seen(linear).values()))
    red, green, blue = tried.T
    warm, cool = (red > green) & (green >= blue), (blue > green) & (green >= red)
    ramp = np.linspace(_DARKEST, _LIGHTEST, count)
    near = min(_NEAR, (ramp[1] - ramp[0] - LEAST_STEP) / 2)
    taken: list[int] = []
    for place, target in enumerate(ramp):
        (fit,) = np.nonzero((np.abs(light - target) <= near) & (cool if place % 2 else warm))
        apart = _apart(colours, fit, taken)
        taken.append(int(fit[np.argmax(apart)]))
    shades = (tried[taken] * 255).round().astype(int)
    return ["#{:02X}{:02X}{:02X}".format(*shade) for shade in shades.tolist()]


def _apart(colours: Array, fit: NDArray[np.intp], taken: Sequence[int]) -> Array:
    """How far each colour that fits lies from the nearest of those taken, whoever looks.

    The first is as colourful as can be; far beyond what is asked no more is gained.
    """
    import numpy as np

    own = colours[:, fit]
    if not taken:
        return np.asarray(np.linalg.norm(own[0, :, 1:], axis=-1))
    off = np.linalg.norm(own[:, :, None] - colours[:, taken][:, None], axis=-1)
    return np.asarray(off.min(axis=(0, 2)))


def main(words: Sequence[str]) -> int:
    """Print a proposal for so many verdicts; without words how far the fills in use lie apart."""
    if not words:
        print("\n".join(measured(list(VERDICTS.values()))))
        found = faults([one.fill for one in VERDICTS.values()])
        print("\n".join(found) or f"{len(VERDICTS)} fills: every distance is held.")
        return 1 if found else 0
    try:
        fills = propose(int(words[0]))
    except ValueError as error:
        print(error, file=sys.stderr)
        return 2
    for fill in fills:
        print(f'"{fill}", {"WHITE" if text_on(fill) == WHITE else "BLACK"}')
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
