"""Names that look the same and are written with letters of different scripts.

The pairs are those that common typefaces draw alike, after the idea of Unicode Technical Standard
#39 (Unicode Security Mechanisms, section 4, confusable detection), but only what keyboards for
Latin, Greek and Cyrillic give, and signs that programs put in by themselves; chosen from memory.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from itertools import zip_longest

_LETTERS = (
    # Cyrillic, Greek: as Latin
    ("АВЕЅІЈКМНОРСТУХԚԜҮ", "ABESIJKMHOPCTYXQWY"),
    ("асеһіјорѕухԁԛԝү", "acehijopsyxdqwy"),
    ("ΑΒΕΖΗΙΚΜΝΟΡΤΥΧϹϺ", "ABEZHIKMNOPTYXCM"),
    ("ικνορυχϲ", "ikvopuxc"),
    # Greek and Cyrillic alike, and not Latin
    ("ГЛПФфп", "ΓΛΠΦφπ"),
    # dashes and apostrophes that programs put in
    ("\u2010\u2011\u2012\u2013\u2014\u2212\u2019\u02bc", "------''"),
)
_PLAIN = {ord(a): b for theirs, ours in _LETTERS for a, b in zip(theirs, ours, strict=True)}


def looks(name: str) -> frozenset[str]:
    """What a name looks like, in capitals and in small letters; two names that share one of the
    two look alike. Spaces do not count, since a person does not see how many there are."""
    if name.isascii():
        return frozenset([" ".join(name.split()).casefold()])
    plain = unicodedata.normalize("NFKC", " ".join(name.split()))
    return frozenset(
        as_typed.translate(_PLAIN).casefold() for as_typed in (plain.upper(), plain.lower())
    )


@lru_cache(maxsize=16_384)
def skeleton(name: str) -> str:
    """A name without accents, signs, spaces and leading zeros, its digits those of Latin script:
    'Río', 'S01', 'S-1' and 'S١' are 'rio' and 's1'. A zero behind a point, as a spreadsheet makes
    1.0 of 1, does not count either; other digits stay apart (1.1 is not 11)."""
    plain = unicodedata.normalize("NFKD", name).casefold()
    digits = "".join(str(unicodedata.digit(c, c)) for c in plain if not unicodedata.combining(c))
    runs = re.findall(r"[^\W\d_]+|[0-9]+", digits)
    parts = [run.lstrip("0") or "0" if run[0].isdigit() else run for run in runs]
    if re.search(r"\d\.0+$", digits):
        parts = parts[:-1]
    return re.sub(r"(?<=\d) (?=\d)", ".", " ".join(parts)).replace(" ", "")


def look_alike(name: str, others: dict[str, str]) -> str:
    """The one of `others` (by what they look like, see `by_looks`) that `name` looks like."""
    return next((others[look] for look in sorted(looks(name)) if look in others), "")


def by_looks(names: list[str]) -> dict[str, str]:
    """What each name looks like -> the first name that looks like it."""
    found: dict[str, str] = {}
    for name in names:
        for look in looks(name):
            found.setdefault(look, name)
    return found


def letter_that_differs(name: str, other: str) -> tuple[str, str]:
    """The first letter of each that differs, by its name in Unicode: "'А' (Cyrillic capital
    letter a)". Both names look alike and differ in more than capitals."""
    pairs = zip_longest(" ".join(name.split()), " ".join(other.split()), fillvalue="")
    for one, two in pairs:
        if one.casefold() != two.casefold():
            return _named(one), _named(two)
    return "", ""


def _named(letter: str) -> str:
    if not letter:
        return "nothing more"
    return f"'{letter}' ({unicodedata.name(letter, 'no letter').capitalize()})"
