"""Makes mutants of the rooms that decide, runs their tests, and says which nobody noticed."""

from __future__ import annotations

import argparse
import os
import random
import shutil
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.mutation.rooms import EQUIVALENT, LEFT_OUT, ROOMS, Room

TOP = Path(__file__).parents[2]
PAGE = TOP / "DEVELOPERS.md"
HEAD = """| room | mutants possible | tried | equivalent | survived | of those to be noticed |
|---|---|---|---|---|---|"""
SECONDS = 300.0  # a mutant that runs longer has been noticed
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
        tree = get_ast_from_path(path)
        for name, operator in ((n, o()) for n, o in operators if not o.arguments()):
            places = (p for node in ast_nodes(tree) for p in operator.mutation_positions(node))
            for occurrence, (start, _) in enumerate(places):
                yield Mutant(str(path.relative_to(TOP)), name, occurrence, start[0])


_copy: Path


def _work_in(folder: str) -> None:
    """Give this worker a checkout of its own, and let Python find the program in it."""
    global _copy
    _copy = Path(folder) / str(os.getpid())
    shutil.copytree(TOP, _copy, symlinks=True, ignore=_SKIPPED)
    os.chdir(_copy)
    os.environ["PYTHONPATH"] = f"{_copy / 'src'}{os.pathsep}{_copy}"
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"


def _try(mutant: Mutant, tests: tuple[str, ...]) -> Outcome:
    from cosmic_ray.mutating import mutate_and_test
    from cosmic_ray.work_item import MutationSpec, TestOutcome

    spec = MutationSpec(
        module_path=_copy / mutant.module, operator_name=mutant.operator,
        occurrence=mutant.occurrence, start_pos=(mutant.line, 0), end_pos=(mutant.line, 1),
    )  # fmt: skip
    command = f"{sys.executable} -m pytest -q -x -n 0 -p no:cacheprovider {' '.join(tests)}"
    result = mutate_and_test([spec], command, SECONDS)
    return Outcome(mutant, result.test_outcome is TestOutcome.SURVIVED, *changed(result.diff or ""))


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


def _room(name: str, count: int, seed: str, folder: str) -> str:
    """Try a room's mutants, name those that no test noticed, and give its row."""
    found = list(mutants(ROOMS[name]))
    drawn = random.Random(f"{seed} {name}").sample(found, min(count, len(found)))
    with ProcessPoolExecutor(initializer=_work_in, initargs=(folder,)) as pool:
        outcomes = list(pool.map(_try, drawn, [ROOMS[name].tests] * len(drawn)))
    alike = sum(o.equivalent for o in outcomes)
    lived = [o for o in outcomes if o.survived and not o.equivalent]
    for o in lived:
        said = f"  {o.mutant.module}:{o.mutant.line}: {o.before} -> {o.after}"
        print(said, file=sys.stderr, flush=True)
    told = len(drawn) - alike
    share = f"{len(lived) / told:.0%}" if told else "none tried"
    return f"| {name} | {len(found):,} | {len(drawn)} | {alike} | {len(lived)} | {share} |"


def main() -> None:
    """Print the table of rooms and the mutants that no test noticed."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutation", description=__doc__)
    parser.add_argument("rooms", nargs="*", metavar="ROOM", help=", ".join(ROOMS))
    parser.add_argument("--sample", type=int, default=40, help="mutants of each room")
    parser.add_argument("--seed", default="which mutants", help="another one, other mutants")
    parser.add_argument("--write", action="store_true", help="put the scores into DEVELOPERS.md")
    asked = parser.parse_args()
    if strangers := set(asked.rooms) - set(ROOMS):
        parser.error(f"no such room: {', '.join(strangers)}; rooms: {', '.join(ROOMS)}")
    print(HEAD)
    with tempfile.TemporaryDirectory() as folder:
        for name in asked.rooms or ROOMS:
            row = _room(name, asked.sample, asked.seed, folder)
            print(row, flush=True)
            if asked.write:
                PAGE.write_text(publish(row, PAGE.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
