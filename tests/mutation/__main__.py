"""Makes mutants of the rooms that decide, runs their tests, and says which nobody noticed."""

from __future__ import annotations

import argparse
import importlib
import math
import os
import random
import re
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from difflib import unified_diff
from itertools import repeat
from pathlib import Path

from tests.mutation.rooms import EQUIVALENT, LEFT_OUT, ROOMS, Room

TOP = Path(__file__).parents[2]
PAGE = TOP / "DEVELOPERS.md"
HEAD = """| room | mutants possible | tried | equivalent | survived | of those to be noticed |
|---|---|---|---|---|---|"""
# Else every mutant would be noticed, whatever it changes.
FAILS = "its tests fail without any change, so that they would tell nothing; mend that first"
SECONDS = 600  # of processor time for all tests without any change
# A mutant that takes so many times as long as that, and some more, has been noticed: it hangs.
TIMES, MORE = 3.0, 20.0
# What all tests import, and no mutant changes: each worker imports it once, for all its mutants.
_OTHERS = ("lxml.etree", "numpy", "openpyxl", "pandas", "pandera.pandas", "pytest", "scipy.stats",
           "xlsxwriter")  # fmt: skip
_HOW = ("-q", "-x", "-n", "0", "-p", "no:cacheprovider",
        "-W", "ignore::pytest.PytestAssertRewriteWarning")  # fmt: skip
_SKIPPED = shutil.ignore_patterns(".git", ".venv", ".*_cache", "__pycache__", "*.egg-info")


@dataclass(frozen=True)
class Mutant:
    """One change: module, operator of the library, which of its places, and the line."""

    module: str
    operator: str
    occurrence: int
    line: int


@dataclass(frozen=True)
class Outcome:
    """Whether a test noticed a mutant; the line before and after."""

    mutant: Mutant
    survived: bool
    before: str
    after: str
    took: float = 0.0  # [s] of processor time

    @property
    def equivalent(self) -> bool:
        """Whether nothing was to be noticed."""
        return self.survived and self.after in EQUIVALENT


def mutants(room: Room) -> Iterator[Mutant]:
    """Every mutant that the library can make of a room's modules."""
    from cosmic_ray import plugins
    from cosmic_ray.ast import ast_nodes, get_ast_from_path

    names = [n for n in plugins.operator_names() if not any(part in n for part in LEFT_OUT)]
    operators = [(n, plugins.get_operator(n)) for n in sorted(names)]
    for path in sorted(TOP.glob(room.modules)):
        tree, lines = get_ast_from_path(path), path.read_text("utf-8").splitlines()
        for name, operator in ((n, o()) for n, o in operators if not o.arguments()):
            places = (p for node in ast_nodes(tree) for p in operator.mutation_positions(node))
            for occurrence, (start, _) in enumerate(places):
                # The library cannot put another exception in the place of a name with dots.
                line, place = lines[start[0] - 1], start[1]
                if name.endswith("ExceptionReplacer") and "." in line:
                    continue
                # The star before parameters that every call names is no product.
                if "_Mul_" in name and line[place:].startswith("*,"):
                    continue
                yield Mutant(str(path.relative_to(TOP)), name, occurrence, start[0])


_copy: Path


def _work_in(folder: str) -> None:
    """Give this worker a checkout of its own, and let Python find the program in it."""
    global _copy
    _copy = Path(folder) / str(os.getpid())
    shutil.copytree(TOP, _copy, symlinks=True, ignore=_SKIPPED)
    os.chdir(_copy)
    here = [str(_copy / "src"), str(_copy)]
    os.environ["PYTHONPATH"] = os.pathsep.join(here)
    # The modules that this process has are those of the checkout; the tests are asked of the copy.
    for name in [n for n in sys.modules if n.partition(".")[0] in ("siltbook", "tests")]:
        if name != __name__ and not name.startswith("tests.mutation"):
            del sys.modules[name]
    sys.path[:0] = here
    sys.dont_write_bytecode = True
    for name in _OTHERS:
        importlib.import_module(name)


def _try(mutant: Mutant, tests: tuple[str, ...], most: float) -> Outcome:
    from cosmic_ray.mutating import use_mutation
    from cosmic_ray.plugins import get_operator

    module = _copy / mutant.module
    with use_mutation(module, get_operator(mutant.operator)(), mutant.occurrence) as (old, new):
        diff = "\n".join(unified_diff(old.splitlines(), new.splitlines(), lineterm=""))
        noticed, took = _noticed(tests, most)
    return Outcome(mutant, not noticed, *changed(diff), took)


def _noticed(tests: tuple[str, ...], most: float = SECONDS) -> tuple[bool, float]:
    """Whether a test fails, or none can be made, in a process of its own; SystemExit if unsure.

    And the processor time that it took [s]; beyond `most` [s] it is ended, and has been noticed.
    """
    began = os.times()
    ended = os.waitstatus_to_exitcode(os.waitpid(_pytest(tests, most), 0)[1])
    took = sum(os.times()[2:4]) - sum(began[2:4])
    if ended not in (0, 1, 2, -signal.SIGXCPU, -signal.SIGKILL):
        raise SystemExit(f"the tests could not be asked: {' '.join(tests)} (pytest says {ended})")
    return ended != 0, took


def _pytest(tests: tuple[str, ...], most: float) -> int:
    """The number of a process that runs these tests up to the first that fails."""
    if number := os.fork():
        return number
    try:
        import resource

        import pytest

        resource.setrlimit(resource.RLIMIT_CPU, (math.ceil(most), math.ceil(most)))
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(nothing, 2)
        os._exit(pytest.main([*_HOW, *tests]))
    finally:
        os._exit(70)


def asked_of(room: Room, module: str, top: Path = TOP) -> tuple[str, ...]:
    """The tests that are asked of a mutant: those that name its module, then the room's.

    Files that name it are looked for in `room.named`.
    """
    name = "siltbook." + module.removesuffix(".py").replace("/", ".")
    names = re.compile(rf"\b{re.escape(name)}\b")
    files = (f for folder in room.named for f in sorted((top / folder).rglob("test_*.py")))
    near = {str(f.relative_to(top)) for f in files if names.search(f.read_text("utf-8"))}
    first = [test for test in room.tests if test in near]
    return tuple(dict.fromkeys([*first, *sorted(near), *room.tests]))


def changed(diff: str) -> tuple[str, str]:
    """The line before and after of a unified diff (or lines, joined), without its heads."""
    lines = [line for line in diff.splitlines() if not line.startswith(("+++", "---"))]
    return tuple(  # type: ignore[return-value]
        " ".join(line[1:].strip() for line in lines if line.startswith(sign)) for sign in "-+"
    )


def publish(row: str, page: str) -> str:
    """The page with this row in its table of scores, in the place of the room's row before."""
    begin = page.index(HEAD) + len(HEAD)
    end = page.index("\n\n", begin)
    rows = [line for line in page[begin:end].splitlines() if line]
    name = row.split("|")[1]
    kept = [line for line in rows if line.split("|")[1] != name]
    order = [f" {room} " for room in ROOMS]
    table = sorted([*kept, row], key=lambda line: order.index(line.split("|")[1]))
    return page[:begin] + "\n" + "\n".join(table) + page[end:]


def _room(name: str, count: int, seed: str, jobs: int | None, folder: str) -> str:
    """Try a room's mutants, name those that no test noticed, and give its row."""
    found = list(mutants(ROOMS[name]))
    drawn = random.Random(f"{seed} {name}").sample(found, min(count, len(found)))
    with ProcessPoolExecutor(jobs, initializer=_work_in, initargs=(folder,)) as pool:
        tests = [asked_of(ROOMS[name], mutant.module) for mutant in drawn]
        every = tuple(dict.fromkeys(test for asked in tests for test in asked))
        fails, took = pool.submit(_noticed, every).result()
        if fails:
            raise SystemExit(f"{name}: {FAILS}")
        outcomes = []
        for outcome in pool.map(_try, drawn, tests, repeat(min(SECONDS, TIMES * took + MORE))):
            outcomes.append(outcome)
            _tell(outcome)
    alike = sum(o.equivalent for o in outcomes)
    lived = [o for o in outcomes if o.survived and not o.equivalent]
    mean = sum(o.took for o in outcomes) / max(1, len(outcomes))
    print(f"  {name}: {mean:.1f} s of processor time a mutant", file=sys.stderr, flush=True)
    told = len(drawn) - alike
    share = f"{len(lived) / told:.0%}" if told else "none tried"
    return f"| {name} | {len(found):,} | {len(drawn)} | {alike} | {len(lived)} | {share} |"


def _tell(outcome: Outcome) -> None:
    """Name a mutant that no test noticed."""
    if outcome.survived:
        why = " (equivalent)" if outcome.equivalent else ""
        at = f"{outcome.mutant.module}:{outcome.mutant.line}"
        said = f"  {at}: {outcome.before} -> {outcome.after}{why}"
        print(said, file=sys.stderr, flush=True)


def main() -> None:
    """Print the table of rooms and the mutants that no test noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=", ".join(ROOMS))
    parser.add_argument("--sample", type=int, default=40, help="mutants of each room")
    parser.add_argument("--seed", default="which mutants", help="another one, other mutants")
    parser.add_argument("--jobs", type=int, help="processes; as many as cores where not given")
    parser.add_argument("--write", action="store_true", help="put the scores into DEVELOPERS.md")
    asked = parser.parse_args()
    if strangers := set(asked.rooms) - set(ROOMS):
        parser.error(f"no such room: {', '.join(strangers)}; rooms: {', '.join(ROOMS)}")
    print(HEAD)
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.rooms or ROOMS:
            row = _room(name, asked.sample, asked.seed, asked.jobs, folder)
            print(row, flush=True)
            if asked.write:
                PAGE.write_text(publish(row, PAGE.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
