"""What `run` prints, book by book: a batch of any size passes through and is not kept."""

from __future__ import annotations

from textwrap import indent
from typing import TYPE_CHECKING

import click

from siltbook.batch.commands.shared import (
    PRESSURES,
    document,
    end,
    failure,
    fault_said,
    tell_cautions,
)

if TYPE_CHECKING:
    from siltbook.batch.many import Outcome


class Stream:
    """Text, or the one JSON document of `--json`, written as the books are done."""

    def __init__(self, as_json: bool) -> None:
        self.as_json = as_json
        self.told = 0
        self.failures: list[dict[str, str]] = []
        self.cautions: set[str] = set()

    def __enter__(self) -> None:
        if self.as_json:
            click.echo('{\n  "books": [', nl=False)

    def __exit__(self, *_: object) -> None:
        """Close the document, also where the batch ended early: what was done stays readable."""
        if self.as_json:
            click.echo(f"{chr(10) + '  ' if self.told else ''}],")
            failed = indent(document(self.failures), "  ").lstrip()
            click.echo(f'  "failed": {failed},\n  "pressures": "{PRESSURES}"\n}}')

    def tell(self, outcome: Outcome) -> None:
        """Print one book that is done; keep the sentence of one that failed for the end."""
        if outcome.fault is not None:
            said = fault_said(outcome.path, outcome.fault)
            self.failures.append(failure(outcome.path, said))
        elif outcome.failure:
            self.failures.append(failure(outcome.path, outcome.failure))
        elif self.as_json:
            comma = "," if self.told else ""
            click.echo(f"{comma}\n{indent(document(outcome.entry), '    ')}", nl=False)
            self.told += 1
        else:
            from siltbook.batch.report.book import printable

            self.cautions |= set(outcome.entry["cautions"])
            for line in outcome.lines:
                click.echo(printable(line))

    def end(self) -> None:
        """Give the cautions, say what failed, and end with the exit code for it."""
        tell_cautions(self.cautions)
        end(self.failures)
