"""Words that people write in place of a choice: taken where they leave no doubt, and noted."""

from __future__ import annotations

import re

from siltbook.batch.reading.parsing import tidy

_WORDS = {
    "yes": ("x", "ok", "okay", "✓", "✔", "ja", "si", "sí", "oui"),
    "no": ("✗", "✘", "nein", "nee", "non"),
    "flush": ("backflush", "backflushed", "backflushing", "back flush", "backwash", "backwashed"),
    "hand cleaning": ("cleaning", "cleaned", "cleaned element", "element cleaned"),
    "solenoid replaced": ("solenoid", "solenoid changed", "changed solenoid"),
    "controller replaced": ("controller changed", "changed controller"),
    "screen replaced": ("screen changed", "changed screen"),
    "called out": ("called", "called help", "help called"),
}  # fmt: skip
# 'flush 3x', 'flush x3', '3x flush', 'flush (3 cycles)': the flush and its number of cycles.
_COUNTED = re.compile(
    r"(?:(?P<before>[0-9]{1,2})\s*[x×]\s*)?(?P<work>[a-z ]*?flush[a-z]*)"
    r"(?:\s*\(?\s*[x×]?\s*(?P<after>[0-9]{1,2})\s*(?:[x×]|cycles?|times)?\s*\)?)?\Z"
)


def other_word(text: str, choices: tuple[str, ...]) -> str | None:
    """The choice that a text means in other words; None where it means none without doubt."""
    said = re.sub(r"[\s_-]+", " ", tidy(text).casefold()).strip(" .!")
    if "flush" in choices and (found := _COUNTED.match(said)):
        said = found["work"].strip()
        if found["before"] or found["after"]:
            return "flush" if said in ("flush", "flushed", *_WORDS["flush"]) else None
    return next((c for c in choices if said in _WORDS.get(c, ())), None)


def flush_count(text: str) -> float | None:
    """How many cycles a text such as 'flush 3x' says; None where it says none, or two numbers."""
    found = _COUNTED.match(tidy(text).casefold().strip(" .!"))
    counts = {n for n in (found["before"], found["after"]) if n} if found else set()
    return float(counts.pop()) if len(counts) == 1 else None
