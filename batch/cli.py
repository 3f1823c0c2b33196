"""The command line: every command is a module of `batch.commands`, added here."""

from __future__ import annotations

import click

from batch import __version__
from batch.commands.archive import archive, season, verify
from batch.commands.audit import audit
from batch.commands.blank import template
from batch.commands.judge import check, run
from batch.commands.review import agree, review
from batch.commands.shared import EPILOG
from batch.commands.watch import watch


@click.group(context_settings={"help_option_names": ["-h", "--help"]}, epilog=EPILOG)
@click.version_option(__version__, prog_name="siltbook")
def main() -> None:
    """Judge drip-irrigation filter stations from a workbook and write the verdicts into it."""


for command in (template, check, run, archive, verify, season, watch, audit, review, agree):
    main.add_command(command)
