"""The cells of a plainly written sheet, taken apart by one expression, column by column."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import compress
from typing import Any

from siltbook.batch.reading.cells import NoValue, Value, clean_text

FIELDS = 7  # the text before a cell and the six groups of the cell


def text_index(text: str) -> int:
    """Which of the shared texts a cell names; ValueError where it names none."""
    index = int(text)
    if index < 0:
        raise ValueError("a text index is negative")
    return index


def by_column(parts: list[Any]) -> Iterator[list[Any]]:
    """The fields of a block's cells, column by column: letters, rows, styles and so on."""
    letters = parts[1::FIELDS]
    if not letters:
        return
    wide = next((i for i, column in enumerate(letters) if i and column == letters[0]), len(letters))
    if letters[:wide] * (len(letters) // wide) == letters and len(set(letters[:wide])) == wide:
        for at in range(wide):  # every row has the same columns
            yield [parts[at * FIELDS + i :: wide * FIELDS] for i in range(1, FIELDS)]
        return
    places: dict[str, list[int]] = {}
    for place, column in enumerate(letters):
        places.setdefault(column, []).append(place * FIELDS)
    for of in places.values():
        yield [[parts[place + i] for place in of] for i in range(1, FIELDS)]


def with_values(fields: list[list[Any]]) -> list[list[Any]]:
    """The fields of those cells of a column that hold anything."""
    some = [raw is not None for raw in fields[-1]]
    return [list(compress(values, some)) for values in fields]


def values_of(
    kinds: list[str | None], formulas: list[str | None], raws: list[str], strings: list[str]
) -> list[Value] | None:
    """As `cell_value` of cells that are all of one kind: numbers, texts, formulas without a value;
    None for any other."""
    kind, *others = set(kinds) or {None}
    if others or kind not in (None, "n", "s", "str"):
        return None
    if kind == "str":
        cleaned = {raw: clean_text(raw) for raw in set(raws)}
        return [cleaned[raw] for raw in raws] if all(cleaned.values()) else None
    if kind != "s" and not any(raws) and None not in formulas:
        return [NoValue("")] * len(raws)
    if not all(raws):
        return None
    if kind == "s":
        known: dict[str, Value] = {raw: strings[text_index(raw)] for raw in set(raws)}
        return [known[raw] for raw in raws] if all(known.values()) else None
    numbers = list(map(float, raws))
    return [*numbers] if all(map(math.isfinite, numbers)) else None
