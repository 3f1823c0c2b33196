"""The contract between people, the template and the program.

Names every sheet, column, unit and choice of workbook version 1. The blank template, the
reader, the schemas and the written documentation all come from here and nowhere else.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache

from siltbook.templates.days import WAYS
from siltbook.templates.units import FLOW_UNITS as FLOW_UNITS
from siltbook.templates.units import PRESSURE_UNITS as PRESSURE_UNITS

WORKBOOK_VERSION = 1


class Kind(StrEnum):
    """What a cell holds; decides parsing, canonical unit and drop-down."""

    TEXT = "text"
    DATE = "date"
    TIME = "time"
    PRESSURE = "pressure"  # station's unit, else the farm's -> [m of water]
    METRES = "metres"  # always [m of water]
    FLOW = "flow"  # farm's flow unit -> [m3/h]
    NUMBER = "number"
    CHOICE = "choice"


NUMERIC = (Kind.PRESSURE, Kind.METRES, Kind.FLOW, Kind.NUMBER)


@dataclass(frozen=True)
class Column:
    """One column of a list sheet, or one setting of the Farm sheet.

    `key` is the name inside the program; `header` the name people see (a trailing bracket
    is help, not part of the name). `low`/`high` bound plausible values in canonical units;
    `positive` asks for more than zero. A number beyond its bounds gives a finding and counts as
    if it had not been typed.
    """

    key: str
    header: str
    kind: Kind
    help: str
    required: bool = False
    instead: str = ""  # key of a column that may stand in where every cell of this kind is blank
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    positive: bool = False
    default: float | str | None = None
    unit: str = ""  # what the Farm sheet's unit column shows
    width: int = 12

    def allows(self, value: float) -> bool:
        """Whether a number [canonical units] lies within the bounds; NaN lies nowhere."""
        least = value > 0.0 if self.positive else self.low is None or value >= self.low
        return value == value and least and (self.high is None or value <= self.high)

    @property
    def amount(self) -> str:
        """The unit in a number column's bracket: mg/L, µm; empty for any other column."""
        found = re.search(r"\((.*)\)$", self.header)
        return found.group(1) if found and self.kind is Kind.NUMBER else ""


@dataclass(frozen=True)
class Sheet:
    """One sheet that people fill."""

    name: str
    columns: tuple[Column, ...]
    computed: tuple[str, ...] = ()  # the template's own calculated columns, never read

    def has(self, key: str) -> bool:
        """Whether the sheet has a column with this key; one sheet lists no stations."""
        return any(column.key == key for column in self.columns)

    def column(self, key: str) -> Column:
        """The column with this key; KeyError where there is none."""
        for column in self.columns:
            if column.key == key:
                return column
        raise KeyError(key)


YES_NO = ("yes", "no")
FILTER_TYPES = ("screen", "disc", "media", "other")
GAUGES = ("one gauge", "two gauges")
CLOGGING_TABLES = ("Haman 2017", "Ayers and Westcot 1985", "Bucks 1979", "Pitts 1990")
# In words: a cell would take '1/10' for a date.
PASSAGE_RULES = ("one tenth", "one eighth", "one seventh")
OCCASIONS = ("routine", "after flush", "after cleaning")
WORKS = (
    "flush",
    "hand cleaning",
    "solenoid replaced",
    "controller replaced",
    "screen replaced",
    "called out",
    "other",
)

_T, _D, _P, _M, _F, _N, _C = (
    Kind.TEXT, Kind.DATE, Kind.PRESSURE, Kind.METRES, Kind.FLOW, Kind.NUMBER, Kind.CHOICE,
)  # fmt: skip

FARM = Sheet(
    "Farm",
    (
        Column("farm", "Farm name", _T, "Shown on every result sheet."),
        Column("season", "Season", _T, "For example 2026, or 2026/27. Dates outside it are questioned."),
        Column("pressure_unit", "Pressure unit", _C, "The unit of your gauges, unless a station says otherwise.", choices=PRESSURE_UNITS, default="bar"),
        Column("flow_unit", "Flow unit", _C, "The unit of your flow meters.", choices=FLOW_UNITS, default="m3/h"),
        Column("drop_limit", "Drop limit", _M, "Pressure drop above which a filter counts as clogged, in metres of water.", low=0.1, high=60, default=5.0, unit="m"),
        Column("watch_share", "Watch share", _N, "Share of the limit from which a station is watched (0 to 1).", low=0.05, high=1, default=0.8),
        Column("flush_inlet", "Lowest flush inlet", _P, "Inlet pressure must not fall below this during a flush. 2 bar = 200 kPa = 29.0 psi.", low=1, high=200, default=2.0, unit="bar"),
        Column("flush_cycles", "Flush cycles", _N, "Cycles that make one complete manual flush.", low=1, high=50, default=3),
        Column("interval", "Reading interval", _N, "Every station is read at least this often.", low=1, high=120, default=7, unit="days"),
        Column("review_date", "Review date", _D, "Judge the book as of this day; empty: the latest entry."),
        Column("hours", "Irrigation hours per day", _N, "For the cost of dirt.", low=0, high=24, unit="hours"),
        Column("efficiency", "Pump efficiency", _N, "Pump and motor together, 0 to 1.", low=0.05, high=1),
        Column("price", "Energy price", _N, "Price of one kWh.", low=0, unit="per kWh"),
        Column("currency", "Currency", _T, "Shown beside money."),
        Column("cleaning_hours", "Hours per hand cleaning", _N, "One person's hours to clean one filter by hand.", low=0, high=100, unit="hours"),
        Column("labour_price", "Labour price", _N, "Price of one hour of work.", low=0, unit="per hour"),
        Column("cycle_minutes", "Minutes per flush cycle", _N, "How long the flush outlet stays open in one cycle.", low=0, high=120, unit="minutes"),
        Column("clogging_table", "Clogging table", _C, "The published table that rates the water; they disagree.", choices=CLOGGING_TABLES, default="Haman 2017"),
        Column("passage_rule", "Passage rule", _C, "Largest opening of the filter as a share of the emitter's passage.", choices=PASSAGE_RULES, default="one tenth"),
        Column("show_pressures", "Show pressures in", _C, "The unit of every result; empty: the farm's pressure unit.", choices=PRESSURE_UNITS),
        Column("show_dates", "Show dates as", _C, "How results show a date; empty: 2026-08-30. How dates are read does not change.", choices=WAYS),
    ),
)  # fmt: skip

STATIONS = Sheet(
    "Stations",
    (
        Column("station", "Station", _T, "Name of the filter station, the same on every sheet.", required=True, width=14),
        Column("block", "Block", _T, "The field block that it feeds."),
        Column("filter_type", "Filter type", _C, "What the element is.", choices=FILTER_TYPES),
        Column("grade", "Filtration grade (µm)", _N, "Opening in micrometres.", low=1, high=5000),
        Column("reference_flow", "Reference flow", _F, "Flow at which the clean drop was read, in the farm's flow unit.", low=0, positive=True),
        Column("clean_drop", "Clean drop (m)", _M, "Drop just after a good cleaning, in metres of water.", low=0, high=60),
        Column("drop_limit", "Drop limit (m)", _M, "Only where it differs from the farm's limit; metres of water.", low=0.1, high=60),
        Column("working_inlet", "Lowest working inlet", _P, "Below this the supply is looked at first.", low=0),
        Column("wanted_field", "Wanted field pressure", _P, "What the emitters need.", low=0),
        Column("gauges", "Gauge arrangement", _C, "One gauge with a selector, or two gauges.", choices=GAUGES, width=14),
        Column("full_scale", "Gauge full scale", _P, "The highest number on the dial.", low=0, positive=True),
        Column("gauge_class", "Gauge class (%)", _N, "The class printed on the dial, for example 1.6.", low=0.01, high=10),
        Column("division", "Gauge division", _P, "Smallest step that is really read.", low=0, positive=True),
        Column("unit", "Pressure unit", _C, "Only where it differs from the farm's.", choices=PRESSURE_UNITS),
        Column("in_service", "In service", _C, "no while the station rests.", choices=YES_NO),
        Column("flush_flow", "Flush flow", _F, "Flow out of the flush outlet, in the farm's flow unit.", low=0, positive=True),
        Column("emitter_exponent", "Emitter exponent", _N, "x in q = k H^x: 0 compensating, about 0.5 turbulent, 1 laminar.", low=0, high=1),
        Column("emitter_passage", "Emitter passage (mm)", _N, "The smallest opening in the emitter.", low=0.05, high=20),
        Column("order", "Order", _N, "Place of the station in the round; the round sheet follows it.", low=0, high=100_000),
        Column("maker", "Maker and model", _T, "Of the filter; whoever is called for help asks for it.", width=18),
        Column("serial", "Serial number", _T, "Of the filter.", width=14),
        Column("contact", "Contact", _T, "Whom to call for this station.", width=18),
        Column("also", "Also called", _T, "Other names of this station, separated by semicolons. They are known on every sheet.", width=18),
        Column("remark", "Remark", _T, "Anything.", width=24),
    ),
    computed=("Metres per unit", "Limit used (m)"),
)  # fmt: skip

READINGS = Sheet(
    "Readings",
    (
        Column("station", "Station", _T, "Pick from the list.", required=True, width=14),
        Column("date", "Date", _D, "Day of the visit.", required=True),
        Column("time", "Time", Kind.TIME, "Needed where a day has several entries."),
        Column("inlet", "Inlet pressure", _P, "Read first, on the inlet side.", required=True, instead="drop", low=0),
        Column("outlet", "Outlet pressure", _P, "Read second, on the outlet side.", required=True, instead="drop", low=0),
        Column("flow", "Flow", _F, "If there is a meter.", low=0),
        Column("field", "Field pressure", _P, "If read beyond the filter.", low=0),
        Column("occasion", "Occasion", _C, "Why it was read; empty means routine.", choices=OCCASIONS, width=15),
        Column("read_by", "Read by", _T, "Who read it."),
        Column("remark", "Remark", _T, "Anything.", width=24),
        Column("drop", "Drop", _P, "Only where inlet and outlet were never written down."),
    ),
    computed=("Drop (m)", "Against limit"),
)  # fmt: skip

WORK = Sheet(
    "Work done",
    (
        Column("station", "Station", _T, "Pick from the list.", required=True, width=14),
        Column("date", "Date", _D, "Day of the work.", required=True),
        Column("time", "Time", Kind.TIME, "Needed where a day has several entries."),
        Column("work", "Work", _C, "What was done.", required=True, choices=WORKS, width=18),
        Column("cycles", "Cycles", _N, "Flush cycles run.", low=0, high=100),
        Column("flush_inlet", "Lowest inlet in flush", _P, "Lowest inlet pressure seen during the flush.", low=0),
        Column("click", "Click heard", _C, "Did the solenoid click?", choices=YES_NO),
        Column("water_heard", "Water heard", _C, "Was water heard in the filter? Optional.", choices=YES_NO),
        Column("water", "Water at outlet", _C, "Did water leave the flush outlet?", choices=YES_NO),
        Column("gauge_zero", "Gauge zero before opening", _C, "Gauge seen above zero, then at zero, before the filter was opened?", choices=YES_NO),
        Column("done_by", "Done by", _T, "Who did it."),
        Column("remark", "Remark", _T, "Anything.", width=24),
    ),
)  # fmt: skip

WHOLE_FARM = "(farm)"  # stands for a station where an action is for the whole farm

AGREED = Sheet(
    "Agreed",
    (
        Column("station", "Station", _T, f"Pick from the list, or write {WHOLE_FARM} for the whole farm.", required=True, width=14),
        Column("action", "Action", _T, "What was agreed.", required=True, width=32),
        Column("who", "Who", _T, "One name."),
        Column("due", "Due date", _D, "By when."),
        Column("done", "Done date", _D, "When it was done."),
        Column("remark", "Remark", _T, "Anything.", width=24),
    ),
)  # fmt: skip

# The farm's water, not a station's: this list has no column Station.
WATER = Sheet(
    "Water tests",
    (
        Column("date", "Date", _D, "Day on which the sample was taken.", required=True),
        Column("source", "Source", _T, "Where it was taken: well, pond, canal. The same name each time.", width=18),
        Column("suspended_solids", "Suspended solids (mg/L)", _N, "Solids that a fine filter holds back.", low=0, high=100_000),
        Column("ph", "pH", _N, "Best measured on the spot.", low=0, high=14),
        Column("dissolved_solids", "Dissolved solids (mg/L)", _N, "Not the conductivity: ask the laboratory for mg/L.", low=0, high=200_000),
        Column("iron", "Iron (mg/L)", _N, "Total iron.", low=0, high=1000),
        Column("manganese", "Manganese (mg/L)", _N, "Total manganese.", low=0, high=1000),
        Column("sulphide", "Hydrogen sulphide (mg/L)", _N, "Best measured on the spot: it escapes.", low=0, high=1000),
        Column("bacteria", "Bacteria (per mL)", _N, "Number in one millilitre, not in 100.", low=0, high=1e9),
        Column("remark", "Remark", _T, "Laboratory, depth, weather; anything.", width=24),
    ),
)  # fmt: skip

# Gauges that were changed: what the register says holds before the first of these days.
CHANGED_GAUGES = Sheet(
    "Gauges",
    (
        Column("station", "Station", _T, "Pick from the list.", required=True, width=14),
        Column("since", "From", _D, "First day on which this gauge was read; before it the register holds.", required=True),
        Column("gauges", "Arrangement", _C, "One gauge with a selector, or two; empty: as before.", choices=GAUGES, width=14),
        Column("full_scale", "Full scale", _P, "The highest number on the dial; empty: not known.", low=0, positive=True),
        Column("gauge_class", "Class (%)", _N, "The class printed on the dial; empty: not known.", low=0.01, high=10),
        Column("division", "Division", _P, "Smallest step that is really read; empty: not known.", low=0, positive=True),
        Column("unit", "Pressure unit", _C, "Unit of the dial, and of the readings from that day on; empty: as before.", choices=PRESSURE_UNITS),
        Column("remark", "Remark", _T, "Anything.", width=24),
    ),
    computed=("Metres per unit",),
)  # fmt: skip

STOOD = (
    "clear",
    "needs flush",
    "awaiting reading after flush",
    "needs hand cleaning",
    "awaiting reading after cleaning",
    "needs escalation",
)
GEAR = ("trusted", "solenoid suspect", "controller suspect", "awaiting proof")
CARRIED = Sheet(
    "Carried over",
    (
        Column("station", "Station", _T, "Pick from the list; one row each.", required=True, width=14),
        Column("step", "Stood at", _C, "Where the station stood at the end of last season; empty: clear.", choices=STOOD, width=28),
        Column("gear", "Flush gear", _C, "What was known of solenoid and controller; empty: trusted.", choices=GEAR, width=18),
        Column("opened", "Over since", _D, "Day on which it went over the limit."),
        Column("flushed", "Flushed", _D, "Last complete flush since then."),
        Column("cleaned", "Cleaned", _D, "Last hand cleaning or new screen since then."),
        Column("failed", "Flush without signs", _D, "Last flush without click or water, where the gear is suspect."),
        Column("solenoid", "New solenoid", _D, "Day of the replacement, where the gear is not proven yet."),
        Column("controller", "New controller", _D, "Day of the replacement, where the gear is not proven yet."),
        Column("called", "Help called", _D, "Since when help has been asked for."),
        Column("supply", "Inlet too low", _D, "Day on which the inlet was too low for a flush, where no flush has worked since."),
        Column("remark", "Remark", _T, "Anything.", width=24),
    ),
)  # fmt: skip

LISTS = (STATIONS, READINGS, WORK, AGREED, WATER, CHANGED_GAUGES, CARRIED)
SHEETS = (FARM, *LISTS)

RESULT_SHEETS = (
    "Actions",
    "Station review",
    "Trends",
    "Runs",
    "Costs",
    "Water review",
    "Workings",
    "Findings",
)
MERGE_SHEETS = ("Conflicts", "Merged rows")
AUDIT_SHEETS = ("Audit summary", "Audit agreed", "Audit detail")
# Every result sheet carries this in cell A1's neighbour row, so that a later run knows its own
# sheets again whatever program re-saved the book, and never replaces a person's sheet.
RESULT_MARK = "Written by Siltbook"


def bare(header: str) -> str:
    """A header as it is compared: case, spaces and a trailing bracket do not count."""
    # Every sheet is asked for every list's headers. What is longer than any header is not kept.
    return _bare(header) if len(header) < 100 else _bare.__wrapped__(header)


@lru_cache(2048)
def _bare(header: str) -> str:
    text = re.sub(r"\s+", " ", header.replace("\u00a0", " ")).strip().casefold()
    return re.sub(r"\s*[(\[].*[)\]]$", "", text) or text
