"""The columns of the sheet Workings.

A book may hold 100,000 readings and every figure is a live formula: the sheet makes its rows in
one loop, in the order of these columns, and asks here for headers, kinds and letters only.
"""

from __future__ import annotations

from siltbook.batch.tables.describe import Column, Kind, Table
from siltbook.templates.shown import Shown


def _by_the_loop(_: object) -> None:
    """The sheet's own loop gives the values."""


def _column(
    key: str, header: str, kind: Kind, width: float, unit: str = "", style: str = ""
) -> Column[object]:
    return Column(key, header, kind, width, _by_the_loop, unit, style=style)


WORKINGS: Table[object] = Table(
    "Workings",
    (
        _column("station", "Station", Kind.NAME, 15.0, style="text"),
        _column("date", "Date", Kind.DATE, 11.0),
        _column("time", "Time", Kind.TIME, 7.0),
        _column("inlet_read", "Inlet as read", Kind.NUMBER, 9.0),
        _column("outlet_read", "Outlet as read", Kind.NUMBER, 9.0),
        _column("unit", "Unit", Kind.TEXT, 8.0),
        _column("factor", "Metres per unit", Kind.NUMBER, 10.0, style="factor"),
        _column("inlet_m", "Inlet ({unit})", Kind.PRESSURE, 9.0, "m"),
        _column("outlet_m", "Outlet ({unit})", Kind.PRESSURE, 9.0, "m"),
        _column("drop_m", "Drop ({unit})", Kind.PRESSURE, 8.0, "m"),
        _column("limit_m", "Limit ({unit})", Kind.PRESSURE, 8.0, "m"),
        _column("margin_m", "Margin to limit ({unit})", Kind.PRESSURE, 9.0, "m"),
        _column("over", "Over or not", Kind.TEXT, 10.0),
        _column("u_drop_m", "Standard uncertainty ({unit})", Kind.PRESSURE, 12.0, "m"),
        _column("p_over", "Probability of over", Kind.CHANCE, 11.0),
        _column("used", "Used by the ladder", Kind.YES_NO, 9.0),
        _column("why_not", "Why not", Kind.TEXT, 24.0, style="wrap"),
        _column("row", "Row in Readings", Kind.COUNT, 10.0),
        _column("note", "Note", Kind.TEXT, 18.0, style="wrap"),
        _column("flow_read", "Flow as read", Kind.NUMBER, 8.0),
        _column("flow_unit", "Flow unit", Kind.TEXT, 7.0),
        _column("reference_flow", "Reference flow", Kind.NUMBER, 11.0),
        _column("exponent", "Flow exponent", Kind.NUMBER, 10.0, style="hundredths"),
        _column("drop_ref_m", "Drop at reference flow ({unit})", Kind.PRESSURE, 11.0, "m"),
        _column("clean_m", "Clean drop ({unit})", Kind.PRESSURE, 8.0, "m"),
        _column("rise_m", "Rise over clean ({unit})", Kind.PRESSURE, 8.0, "m"),
    ),
)


# What stands behind them where pressures are shown in another unit: key -> the column in metres.
AS_SHOWN = {
    "drop_shown": "drop_m",
    "limit_shown": "limit_m",
    "margin_shown": "margin_m",
    "u_drop_shown": "u_drop_m",
    "rise_shown": "rise_m",
}


def workings(shown: Shown) -> Table[object]:
    """The sheet's columns: all in metres, and again in the unit that is shown where it is another.

    The formulas stay in metres, so that every figure can be followed whatever is shown.
    """
    if shown.metres:
        return WORKINGS
    more = tuple(
        _column(
            key, WORKINGS.column(metres).header.replace("{unit}", shown.unit), Kind.PRESSURE,
            10.0, style="fine",
        )
        for key, metres in AS_SHOWN.items()
    )  # fmt: skip
    return Table(WORKINGS.name, (*WORKINGS.columns, *more))
