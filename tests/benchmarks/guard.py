"""What the look at every book costs that sends unusual ones to a child (`siltbook.batch.guard`).

`python -m tests.benchmarks.guard` runs the season book and a folder of 200 books with the guard
and without it in turn, whole processes, and prints processor times and the ratio of each pair:
a machine that others use too disturbs both of a pair alike. It asserts nothing.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import timeit
from collections.abc import Iterator
from pathlib import Path

from siltbook.batch import guard
from tests.benchmarks.speed import _PLAIN, _RUN, cost, make_book

# The guard and all it imports replaced by the plain call.
_WITHOUT = f"""
{_PLAIN}
import importlib, types
def within(function, data, name, *arguments):
    module, _, attribute = function.partition(":")
    return getattr(importlib.import_module(module), attribute)(*arguments)
stub = types.ModuleType("siltbook.batch.guard")
stub.within = within
sys.modules["siltbook.batch.guard"] = stub
from siltbook.batch.cli import main
main()
"""
SEASON_PAIRS, FOLDER_PAIRS = 15, 3


def _pairs(what: str, times: int, looks: float, *arguments: str) -> Iterator[str]:
    """Lines of one comparison; `looks` [s] is what the looks at all its books take alone."""
    cost(_RUN, *arguments)  # modules compiled, files in memory
    both = []
    for turn in range(times):
        order = (_RUN, _WITHOUT) if turn % 2 else (_WITHOUT, _RUN)
        found = {code: cost(code, *arguments).cpu for code in order}
        both.append((found[_RUN], found[_WITHOUT]))
    ratios = sorted(with_ / without for with_, without in both)
    with_, without = (sorted(one) for one in zip(*both, strict=True))
    yield f"{what}, {times} pairs"
    yield f"   with: best {with_[0]:.2f} s, median {statistics.median(with_):.2f} s"
    yield f"   without: best {without[0]:.2f} s, median {statistics.median(without):.2f} s"
    yield (
        f"   ratio: of the best {with_[0] / without[0]:.3f}, median of the pairs "
        f"{statistics.median(ratios):.3f} ({ratios[0]:.3f} to {ratios[-1]:.3f}; at most 1.05)"
    )
    yield f"   the looks alone: {looks:.3f} s, {100 * looks / without[0]:.2f} % of that"


def main() -> None:
    """Measure both and print them."""
    folder_pairs = int(sys.argv[1]) if len(sys.argv) > 1 else FOLDER_PAIRS
    with tempfile.TemporaryDirectory() as name:
        at = Path(name)
        make_book(at / "season.xlsx", 2_500, 12)
        make_book(at / "month.xlsx", 400, 8)
        looks = {}
        for path in (at / "season.xlsx", at / "month.xlsx"):
            data = path.read_bytes()
            look = min(timeit.repeat(lambda data=data: guard.unusual(data), number=50, repeat=5))
            looks[path.stem] = look / 50
            print(f"The look alone, {path.stem}: {1000 * look / 50:.2f} ms", flush=True)
        books = at / "books"
        books.mkdir()
        for i in range(200):
            (books / f"b{i:03d}.xlsx").write_bytes((at / "month.xlsx").read_bytes())
        season = ("run", str(at / "season.xlsx"))
        many = ("run", str(books), "--out", str(at / "out"))
        for line in _pairs("Season book", SEASON_PAIRS, looks["season"], *season):
            print(line, flush=True)
        for line in _pairs("200 books, one worker", folder_pairs, 200 * looks["month"], *many):
            print(line, flush=True)


if __name__ == "__main__":
    main()
