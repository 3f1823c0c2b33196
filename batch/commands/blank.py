"""The command that writes a blank workbook."""

from __future__ import annotations

import os
from pathlib import Path

import click

from siltbook.batch.commands.shared import EPILOG, refusals
from siltbook.templates.days import WAYS
from siltbook.templates.units import FLOW_UNITS, PRESSURE_UNITS


@click.command(epilog=EPILOG)
@click.argument("path", type=click.Path(path_type=Path))
@click.option(
    "--pressure-unit", default="bar", show_default=True, help=f"{', '.join(PRESSURE_UNITS)}."
)
@click.option("--flow-unit", default="m3/h", show_default=True, help=f"{', '.join(FLOW_UNITS)}.")
@click.option("--dates", type=click.Choice(WAYS), help="How dates are shown; else as 2026-08-30.")
@click.option("--farm", default="", help="Farm name to fill in.")
@click.option(
    "--station", "stations", multiple=True, help="A station name; give it again for more."
)
@click.option("--force", is_flag=True, help="Overwrite PATH if it exists.")
def template(
    path: Path,
    pressure_unit: str,
    flow_unit: str,
    dates: str | None,
    farm: str,
    stations: tuple[str, ...],
    force: bool,
) -> None:
    """Write a blank workbook to PATH, ready to be filled."""
    from siltbook.batch.files import write_whole
    from siltbook.templates.blank import BlankOptions, build

    if path.suffix.lower() != ".xlsx":
        raise click.UsageError(f"{path}: a blank workbook ends in .xlsx. Add the ending.")
    if os.path.lexists(path) and not force:
        raise click.UsageError(f"{path} exists. Choose another name, or add --force.")
    try:
        data = build(
            BlankOptions(pressure_unit, flow_unit, farm, stations, pressure_unit, dates or "")
        )
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    with refusals():
        write_whole(path, data)
    click.echo(f"Blank workbook: {path}")
