"""JSON as this program writes it, read so that a stranger's file can neither hurt nor mislead.

Every limit is checked before anything is built: the size, the number of values, the length of a
number. A key that stands twice, NaN and Infinity are refused, since programs read them differently.
"""

from __future__ import annotations

import json
import math
from typing import Any, NoReturn

_LONGEST_NUMBER = 40  # characters; sixteen digits and an exponent take less
_STRUCTURE = (b",", b"[", b"{")  # each value stands behind one of these


class StrictError(ValueError):
    """What is wrong with the document; the text goes behind the file's name."""


def parse_strict_json(data: bytes, most_bytes: int, most_values: int) -> Any:
    """The document in `data`; StrictError where it breaks a limit or is not plain JSON.

    `most_values` bounds what is built of it: a list in a list costs twenty times its text.
    """
    if len(data) > most_bytes:
        raise StrictError("it is larger than any that this program writes")
    if sum(map(data.count, _STRUCTURE)) > most_values:
        raise StrictError("it holds more values than any that this program writes")
    try:
        return json.loads(
            data.decode("utf-8"),
            object_pairs_hook=_once,
            parse_constant=_refuse,
            parse_int=_whole,
            parse_float=_finite,
        )
    except StrictError:
        raise
    except (ValueError, RecursionError):
        raise StrictError("it is no JSON that this program wrote") from None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        raise StrictError("it holds a key twice")
    return made


def _refuse(_: str) -> NoReturn:
    raise StrictError("it holds a number that is none")


def _whole(text: str) -> int:
    if len(text) > _LONGEST_NUMBER:
        raise StrictError("it holds a number that is none")
    return int(text)


def _finite(text: str) -> float:
    value = float(text) if len(text) <= _LONGEST_NUMBER else math.inf
    if not math.isfinite(value):
        raise StrictError("it holds a number that is none")
    return value
