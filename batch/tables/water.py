"""Water tests rated, and each filter held against its emitters, as Water review shows them."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from siltbook.batch.model import Station
from siltbook.batch.numbers.water import GradeFit, Hazard, Rating, Tested, name_of, unit_of
from siltbook.batch.tables.describe import Column, Kind, Table

_SIGNS = {Hazard.LOW: "✓", Hazard.MODERATE: "△", Hazard.SEVERE: "▲"}
_FITS = {
    True: ("✓ suits", "hazard low"),
    False: ("▲ too coarse", "hazard severe"),
    None: ("not known", "text"),
}


class Fitted(NamedTuple):
    """A station, and whether its filter is fine enough for its emitters."""

    station: Station
    fit: GradeFit


def _amount(tested: Tested | None) -> float | str | None:
    """A value; a bound ('under 0.05') is text, which no sum takes for a value."""
    if tested is None:
        return None
    return tested.words() if tested.side else tested.value


def _day(tested: Tested | None) -> dt.date | None:
    return tested.on if tested else None


def _rated(hazard: Hazard | None, words: str) -> str:
    """A hazard with its sign; plain words where there is none."""
    return f"{_SIGNS[hazard]} {hazard}" if hazard else words


def _colour(hazard: Hazard | None) -> str:
    return f"hazard {hazard}" if hazard else ""


RATINGS: Table[Rating] = Table(
    "Water review",
    (
        Column("source", "Source", Kind.NAME, 16.0, lambda r: r.source),
        Column("constituent", "Constituent", Kind.TEXT, 16.0, lambda r: name_of(r.constituent)),
        Column("latest", "Latest", Kind.NUMBER, 9.0, lambda r: _amount(r.latest), style="tested"),
        Column("unit", "Unit", Kind.TEXT, 9.5, lambda r: unit_of(r.constituent)),
        Column("tested_on", "Tested on", Kind.DATE, 11.0, lambda r: _day(r.latest)),
        Column("hazard", "Hazard", Kind.TEXT, 14.0, lambda r: _rated(r.hazard, r.why),
               style="wrap", shade=lambda r: _colour(r.hazard)),
        Column("worst", "Worst of the season", Kind.NUMBER, 10.0, lambda r: _amount(r.worst),
               style="tested"),
        Column("worst_on", "Worst on", Kind.DATE, 11.0, lambda r: _day(r.worst)),
        Column("worst_hazard", "Hazard of the worst", Kind.TEXT, 14.0,
               lambda r: _rated(r.worst_hazard, "not known" if r.worst else ""),
               style="wrap", shade=lambda r: _colour(r.worst_hazard)),
        Column("low_under", "Low under", Kind.NUMBER, 8.0, lambda r: r.bounds.low, style="bound"),
        Column("severe_over", "Severe over", Kind.NUMBER, 8.0, lambda r: r.bounds.severe,
               style="bound"),
        Column("others", "Other published tables, and what is not sure", Kind.TEXT, 37.0,
               lambda r: "; ".join(filter(None, (r.others, r.unsure))), style="wrap"),
    ),
)  # fmt: skip

# Stands under the ratings and shares their columns; 'Why' takes those that are left.
GRADES: Table[Fitted] = Table(
    "Grade and emitter",
    (
        Column("station", "Station", Kind.NAME, 16.0, lambda f: f.station.name),
        Column("filter_type", "Filter type", Kind.TEXT, 16.0, lambda f: f.station.filter_type),
        Column("grade", "Grade ({unit})", Kind.NUMBER, 9.0, lambda f: f.station.grade, "µm"),
        Column("passage", "Emitter passage ({unit})", Kind.NUMBER, 9.5,
               lambda f: f.station.emitter_passage, "mm"),
        Column("largest", "Largest grade ({unit})", Kind.NUMBER, 11.0, lambda f: f.fit.largest,
               "µm"),
        Column("suits", "Grade suits", Kind.TEXT, 14.0, lambda f: _FITS[f.fit.fits][0],
               shade=lambda f: _FITS[f.fit.fits][1]),
        Column("why", "Why", Kind.TEXT, 90.0, lambda f: f.fit.why, style="wrap"),
    ),
)  # fmt: skip
