"""The command line: every command is a module of `siltbook.batch.commands`, added here."""

from __future__ import annotations

import contextlib
import errno
import io
import os
import sys
from collections.abc import Iterator
from typing import Any

import click

from siltbook import __version__
from siltbook.batch.commands.adopt import adopt
from siltbook.batch.commands.archive import archive, season, verify
from siltbook.batch.commands.audit import audit
from siltbook.batch.commands.blank import template
from siltbook.batch.commands.doors import office_button, shortcut
from siltbook.batch.commands.judge import check, run
from siltbook.batch.commands.merge import merge
from siltbook.batch.commands.paper import card, round_
from siltbook.batch.commands.review import agree, review
from siltbook.batch.commands.shared import EPILOG, EXIT_BOOK, EXIT_STOPPED, fail, is_of_output
from siltbook.batch.commands.watch import watch
from siltbook.batch.errors import why
from siltbook.batch.systems import reader_gone


class _OneSentence(click.Group):
    """Commands whose output cannot be written (a full disk behind `>`) say so in one line."""

    def make_context(self, *arguments: Any, **named: Any) -> click.Context:
        with _one_sentence():  # --help and --version print already here
            return super().make_context(*arguments, **named)

    def invoke(self, ctx: click.Context) -> object:
        # A terminal of few characters, or a name with bytes that are no text, ends nothing.
        if isinstance(sys.stdout, io.TextIOWrapper):
            sys.stdout.reconfigure(errors="backslashreplace")
        with _one_sentence():
            return super().invoke(ctx)


@contextlib.contextmanager
def _one_sentence() -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        fail("stopped by Ctrl-C; what was written is whole.")
        raise click.exceptions.Exit(EXIT_STOPPED) from None
    except OSError as error:
        _let_output_go()
        if reader_gone(error):  # click ends in silence, where it is told in one system's words
            raise BrokenPipeError(errno.EPIPE, why(error)) from error
        what = error.filename or "standard output"
        if not error.filename and not is_of_output(error):
            what = "a file or a program that the system does not name"
        fail(f"{what}: {why(error)}. Check the space and the permissions.")
        raise click.exceptions.Exit(EXIT_BOOK) from error


def _let_output_go() -> None:
    """What is still buffered would fail once more, with a traceback, when Python ends."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)


@click.group(
    cls=_OneSentence, context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG
)
@click.version_option(__version__, prog_name="siltbook")
def main() -> None:
    """Judge drip-irrigation filter stations from a workbook and write the verdicts into it."""
    from siltbook.batch.child import at_ease

    at_ease()


for command in (
    template, adopt, check, run, merge, round_, card, archive, verify, season, watch, audit, review,
    agree, shortcut, office_button,
):  # fmt: skip
    main.add_command(command)
