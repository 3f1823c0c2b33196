"""The command line: every command is a module of `batch.commands`, added here."""

from __future__ import annotations

import errno
import os

import click

from batch import __version__
from batch.commands.archive import archive, season, verify
from batch.commands.audit import audit
from batch.commands.blank import template
from batch.commands.judge import check, run
from batch.commands.review import agree, review
from batch.commands.shared import EPILOG, EXIT_BOOK, fail
from batch.commands.watch import watch
from batch.errors import why


class _OneSentence(click.Group):
    """Commands whose output cannot be written (a full disk behind `>`) say so in one line."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except OSError as error:
            if error.errno == errno.EPIPE:
                raise  # the reader of a pipe has gone: click ends in silence
            what = error.filename or "standard output"
            fail(f"{what}: {why(error)}. Check the space and the permissions.")
            # What is still buffered would fail once more, with a traceback, when Python ends.
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            raise click.exceptions.Exit(EXIT_BOOK) from error


@click.group(
    cls=_OneSentence, context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG
)
@click.version_option(__version__, prog_name="siltbook")
def main() -> None:
    """Judge drip-irrigation filter stations from a workbook and write the verdicts into it."""


for command in (template, check, run, archive, verify, season, watch, audit, review, agree):
    main.add_command(command)
