"""Measures of the house: the table that DEVELOPERS.md shows, for this code.

    python -m tests.benchmarks.house

Counted as for the codebases that were read before this one was built: lines of a module with
blank ones and comments, lines of a function's body from its first statement to its last
(docstring left out), whether every parameter and return is annotated, and tests beside code.
"""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path
from statistics import median

ROOT = Path(__file__).parents[2]
ROOMS = ("templates", "checks", "batch", "src/siltbook")


def modules(*folders: str) -> list[Path]:
    """Modules of these folders; the links under src, which lead back, are not followed."""
    found = {p for folder in folders for p in (ROOT / folder).rglob("*.py")}
    return sorted(p for p in found if p.resolve() == p)


@cache
def functions(path: Path) -> tuple[ast.FunctionDef | ast.AsyncFunctionDef, ...]:
    """Every function and method of a module."""
    nodes = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return tuple(n for n in nodes if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef))


def body_lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function's body without its docstring."""
    body = function.body
    if ast.get_docstring(function) is not None and len(body) > 1:
        body = body[1:]
    return (body[-1].end_lineno or 0) - body[0].lineno + 1


def annotated(function: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    """Whether every parameter but self and cls, and the return, is annotated."""
    given = function.args
    names = [*given.posonlyargs, *given.args, *given.kwonlyargs]
    names += [one for one in (given.vararg, given.kwarg) if one]
    free = [one for one in names if one.annotation is None and one.arg not in ("self", "cls")]
    return not free and function.returns is not None


def lines_of(path: Path) -> int:
    """Lines of a module."""
    return len(path.read_text(encoding="utf-8").splitlines())


def measures() -> list[tuple[str, str, str]]:
    """Each measure with its value and what the design asked for, in words."""
    code = modules(*ROOMS)
    held = [lines_of(path) for path in code if lines_of(path) > 10]
    every = [function for path in code for function in functions(path)]
    bodies = [body_lines(function) for function in every]
    public = [f for f in every if not f.name.startswith("_")]
    told = sum(ast.get_docstring(f) is not None for f in public)
    tests = sum(map(lines_of, modules("tests")))
    return [
        ("modules of more than 10 lines", f"{len(held)}", ""),
        ("lines of a module, median and most", f"{median(held):.0f}, {max(held)}", "100 to 350"),
        ("functions", f"{len(every):,}", ""),
        (
            "lines of a function's body, median and most",
            f"{median(bodies):.0f}, {max(bodies)}",
            "10 at most, 60 at most",
        ),
        ("functions fully annotated", f"{sum(map(annotated, every)) / len(every):.0%}", "100%"),
        ("public functions with a docstring", f"{told / len(public):.0%}", "100%"),
        ("lines of tests for a line of code", f"{tests / sum(map(lines_of, code)):.1f}", "1.0"),
    ]


def table() -> str:
    """The measures as DEVELOPERS.md shows them."""
    rows = [f"| {name} | {value} | {asked} |" for name, value, asked in measures()]
    return "\n".join(["| measure | this code | asked |", "|---|---|---|", *rows])


if __name__ == "__main__":
    print(table())
