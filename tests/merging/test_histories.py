"""Random histories of two and three people who edit copies of one book, merged in any order."""

from __future__ import annotations

import datetime as dt
import itertools
import random
from functools import cache

import openpyxl
import pytest

from siltbook.batch.merging.job import merge_bytes
from siltbook.batch.merging.sides import read_side
from siltbook.batch.typed.edited import Leaf, leaves
from tests.amount import LONG, amount, examples, some
from tests.merging.test_merge import NAME, choose
from tests.typed.farm import DAY, make, opened, saved

HISTORIES = examples(amount(20, 500))
CHUNKS = 10 if LONG else 5
NO_LEAF = Leaf({}, frozenset(), None)
# What may be typed over, by sheet: not what identifies a row.
_CELLS = {"Readings": "CDFG", "Stations": "BCD", "Agreed": "CDF"}


@cache
def ancestor() -> bytes:
    book = opened(make())
    book["Agreed"].append(["South", "New screen", "Ann"])
    return saved(book)


def one_edit(book: openpyxl.Workbook, random_: random.Random, word: str) -> bool:
    """One edit; whether it typed `word`."""
    kind = random_.randrange(8)
    readings = book["Readings"]
    if kind < 3:
        day = DAY + dt.timedelta(random_.randrange(1, 4))
        readings.append([random_.choice(("North", "South")), day, 3.0, 2.5, None, "Ann", word])
    elif kind < 5:
        sheet = book[random_.choice(list(_CELLS))]
        column = random_.choice(_CELLS[sheet.title])
        sheet[f"{column}{random_.randint(2, min(sheet.max_row, 8))}"] = word
    elif kind == 5:
        readings.delete_rows(random_.randint(2, readings.max_row))
        return False
    elif kind == 6:
        book["Agreed"].append(["(farm)", f"do {random_.randrange(3)}", word])
    else:
        book["Farm"]["B1"] = word
    return True


def person(base: bytes, random_: random.Random, who: str) -> tuple[bytes, list[str]]:
    """A copy after some edits, and the words that were typed into it and still stand there."""
    book = opened(base)
    words = [w for n in range(random_.randint(1, 4)) if one_edit(book, random_, w := f"{who}{n}")]
    data = saved(book)
    there = held(data)
    return data, [w for w in words if w in there]


def held(data: bytes) -> set[str]:
    """The cells of a book, each as text."""
    return {str(value) for leaf in leaves(data).values() for value in leaf.cells.values()}


def rows(data: bytes) -> dict[str, list[str]]:
    """What every list says, whatever the order of its rows."""
    side = read_side(data, NAME)
    return {
        name: sorted(str(sorted((k, str(v)) for k, v in e.cells.items())) for e in entries)
        for name, entries in side.entries.items()
    }


def merge(book: bytes, copies: list[bytes], base: bytes | None) -> bytes:
    named = [(data, f"copy-{hash(data) % 997}.xlsx") for data in copies]
    made = merge_bytes((book, NAME), named, (base, "base.xlsx") if base else None)
    return made.data or book


@pytest.mark.at_length(usual=1)
@pytest.mark.parametrize("chunk", range(CHUNKS))
def test_whatever_anybody_typed_is_in_the_book_or_in_conflicts(chunk: int) -> None:
    for number in range(HISTORIES // CHUNKS):
        random_ = random.Random(1000 * chunk + number)
        base = ancestor()
        people = [person(base, random_, who) for who in "abc"[: random_.choice((2, 3))]]
        (book, _), *others = people
        copies = [data for data, _ in others]
        given = base if random_.random() < 0.5 else None
        done = merge(book, copies, given)
        there = held(done)
        for _, words in people:
            missing = [w for w in words if not any(w in text for text in there)]
            assert not missing, (chunk, number, missing)
        for order in list(itertools.permutations(copies))[1:]:
            assert merge(book, list(order), given) == done, (chunk, number)
        if number % 5:
            continue
        # Once more changes nothing, and neither does the book itself.
        assert merge(done, copies, given) == done, (chunk, number)
        assert merge(done, [done], None) == done
        # One after the other says the same as together, where nobody contradicts anybody.
        if not [p for p in leaves(done).get("Conflicts", NO_LEAF).cells if p[0] > 4]:
            stepwise = book
            for copy in copies:
                stepwise = merge(stepwise, [copy], given)
            assert rows(stepwise) == rows(done), (chunk, number)


@pytest.mark.at_length(usual=2)
@pytest.mark.parametrize("seed", some(range(10), 5))
def test_what_is_taken_is_what_the_other_side_said(seed: int) -> None:
    random_ = random.Random(seed)
    base = ancestor()
    (book, _), (copy, words) = (person(base, random_, who) for who in "ab")
    done = choose(merge(book, [copy], base), "take that") if words else book
    taken = merge(done, [], None)
    there = held(taken)
    assert all(any(w in text for text in there) for w in words)
    assert merge(taken, [], None) == taken
