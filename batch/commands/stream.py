"""What `run` prints, book by book: a batch of any size passes through and is not kept."""

from __future__ import annotations

import json
from textwrap import indent
from typing import TYPE_CHECKING, Any

import click

from batch.commands.shared import EXIT_BOOK, fail, failure

if TYPE_CHECKING:
    from batch.many import Outcome


class Stream:
    """Text, or the one JSON document of `--json`, written as the books are done."""

    def __init__(self, as_json: bool) -> None:
        self.as_json = as_json
        self.told = 0
        self.failures: list[dict[str, str]] = []

    def __enter__(self) -> None:
        if self.as_json:
            click.echo('{\n  "books": [', nl=False)

    def __exit__(self, *_: object) -> None:
        """Close the document, also where the batch ended early: what was done stays readable."""
        if self.as_json:
            click.echo(f"{chr(10) + '  ' if self.told else ''}],")
            failed = indent(_json(self.failures), "  ").lstrip()
            click.echo(f'  "failed": {failed}\n}}')

    def tell(self, outcome: Outcome) -> None:
        """Print one book that is done; keep the sentence of one that failed for the end."""
        if outcome.failure:
            self.failures.append(failure(outcome.path, outcome.failure))
        elif self.as_json:
            comma = "," if self.told else ""
            click.echo(f"{comma}\n{indent(_json(outcome.entry), '    ')}", nl=False)
            self.told += 1
        else:
            for line in outcome.lines:
                click.echo(line)

    def end(self) -> None:
        """Say what failed, and end with the exit code for it."""
        for one in self.failures:
            fail(one["message"])
        if self.failures:
            raise click.exceptions.Exit(EXIT_BOOK)


def _json(value: dict[str, Any] | list[dict[str, str]]) -> str:
    return json.dumps(value, ensure_ascii=False, indent=2, allow_nan=False)
