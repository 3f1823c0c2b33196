"""A hand-built assessment of an invented farm: one station for each of the twelve verdicts."""

from __future__ import annotations

import datetime as dt
import io
import zipfile
from collections.abc import Sequence

import pandas as pd

from siltbook.batch.ladder.next_steps import touches_of
from siltbook.batch.model import Episode, History, Judgement, Reading, Station, Verdict, Work
from siltbook.batch.results import Assessment, StationResult
from siltbook.batch.sheets.book import ResultBook
from siltbook.checks.findings import Finding, find
from siltbook.templates import contract
from siltbook.templates.book import Book, Counts, Settings, Table
from siltbook.templates.safety import Step, Task
from siltbook.templates.units import metres_per

BAR = metres_per("bar")
AS_OF = dt.date(2026, 7, 20)
START = dt.date(2026, 5, 4)
NAMES = {name: name for name in contract.RESULT_SHEETS}

# Verdict -> (station, outlet pressures in bar at an inlet of 3.2 bar, reason, steps)
CASES: dict[Verdict, tuple[str, tuple[float, ...], str, tuple[str, ...]]] = {
    Verdict.ESCALATE: (
        "North 1",
        (2.9, 2.8, 2.6, 2.5, 2.4),
        "The drop is still 8.16 m after the hand cleaning of 2026-07-12; supply"
        " is fine (inlet 32.63 m), so the filter explains the low field "
        "pressure.",
        (
            "Call qualified help; bring this sheet.",
            "Keep the station out of service until the element was inspected.",
            "Read the drop again after the visit.",
        ),
    ),
    Verdict.HAND_CLEAN: (
        "North 2",
        (2.9, 2.8, 2.6, 2.6, 2.62),
        "The drop was 5.91 m after a complete flush on 2026-07-14 (limit 5.00 m).",
        (
            "Close both valves and let the pressure off by a flush cycle.",
            "Gauge above zero, then at zero: only then open the filter.",
            "Clean the element by hand.",
            "Read the drop again.",
        ),
    ),
    Verdict.CHECK_FLUSH_GEAR: (
        "North 3",
        (2.9, 2.7, 2.6, 2.5),
        "No click was heard at the flush of 2026-07-15.",
        (
            "Check the solenoid.",
            "If it is fine, check the controller; disconnect its battery before"
            " touching the wiring.",
            "Flush again, 3 cycles.",
        ),
    ),
    Verdict.CHECK_SUPPLY: (
        "Hillside",
        (2.9, 2.85, 2.8),
        "The inlet fell to 14.28 m (1.40 bar) during the flush of 2026-07-16.",
        (
            "Check pump, suction and valves.",
            "Flush again once the inlet holds 2 bar.",
        ),
    ),
    Verdict.CHECK_FIELD: (
        "Orchard east",
        (2.9, 2.85, 2.87),
        "The field pressure is 9.2 m, wanted 12.0 m; supply and filter are fine.",
        ("Walk the block: leak, valve, regulator or lateral beyond the filter.",),
    ),
    Verdict.FLUSH: (
        "Orchard west",
        (2.9, 2.8, 2.7, 2.68),
        "The drop is 5.30 m, over the limit of 5.00 m since 2026-07-06.",
        (
            "Flush: 3 cycles with the downstream valve closed.",
            "Listen for the click; see water leave the flush outlet.",
            "Read the drop again.",
        ),
    ),
    Verdict.INSPECT_SCREEN: (
        "Lower terrace",
        (2.9, 2.9, 3.18),
        "The drop of 0.20 m is under half of the clean drop (1.20 m) at 14 m3/h.",
        ("Let the pressure off, open the filter, look for a torn or missing element.",),
    ),
    Verdict.RE_READ: (
        "Upper terrace",
        (2.9, 2.8, 2.7),
        "Nothing was read after the flush of 2026-07-18.",
        ("Read inlet and outlet again.",),
    ),
    Verdict.NO_READING: (
        "Pond",
        (2.9, 2.85),
        "The latest reading is 42 days old; the interval is 7 days.",
        ("Read inlet and outlet.",),
    ),
    Verdict.WATCH: (
        "Valley 1",
        (2.95, 2.9, 2.85, 2.78),
        "The drop is 4.28 m, 86 % of the limit.",
        ("Read again by 2026-07-24.",),
    ),
    Verdict.IN_RANGE: (
        "Valley 2",
        (2.95, 2.93, 2.9, 2.92),
        "The drop is 2.86 m, 57 % of the limit.",
        (),
    ),
    Verdict.RESTING: (
        "Old well",
        (),
        "Not in service.",
        (),
    ),
}


def build(
    *,
    rename: dict[Verdict, str] | None = None,
    readings_sheet: str = "Readings",
    found: Sequence[Finding] | None = None,
    verdicts: Sequence[Verdict] = tuple(Verdict),
    farm: str = "Invented Demo Farm",
) -> Assessment:
    """The assessment; `rename` changes stations' names."""
    raw: dict[str, dict[int, object]] = {"inlet": {}, "outlet": {}}
    row, stations = 1, []
    for place, verdict in enumerate(verdicts):
        name, outlets, reason, steps = CASES[verdict]
        station = _station((rename or {}).get(verdict, name), place + 2, verdict)
        entries: list[Reading | Work] = []
        for visit, outlet in enumerate(outlets):
            row += 1
            raw["inlet"][row], raw["outlet"][row] = 3.2, outlet
            entries.append(_reading(row, visit, outlet))
        if len(outlets) >= 3:
            entries += _work(len(outlets))
        stations.append(_result(station, verdict, entries, reason, steps))
    return Assessment(
        _book(raw, readings_sheet, farm), AS_OF, tuple(stations),
        _findings() if found is None else tuple(found),
    )  # fmt: skip


def _station(name: str, row: int, verdict: Verdict) -> Station:
    return Station(
        name=name, row=row, block=f"Block {row - 1}", filter_type="disc", grade=130.0,
        reference_flow=14.0, clean_drop=1.2, limit=5.0,
        working_inlet=None, wanted_field=None, gauges="one gauge", full_scale=61.0,
        gauge_class=1.6, division=0.5, unit="bar", in_service=verdict is not Verdict.RESTING,
    )  # fmt: skip


def _reading(row: int, visit: int, outlet: float) -> Reading:
    inlet_m, outlet_m = 3.2 * BAR, outlet * BAR
    return Reading(
        row=row, date=START + dt.timedelta(days=15 * visit), time=dt.time(7, 30), inlet=inlet_m,
        outlet=outlet_m, drop=inlet_m - outlet_m, flow=None, field=None, occasion="routine",
        u_drop=0.21, p_over=0.4,
    )  # fmt: skip


def _work(visits: int) -> list[Work]:
    last = START + dt.timedelta(days=15 * (visits - 1))
    return [
        Work(2, START + dt.timedelta(days=9), dt.time(9), "flush", 3.0),
        Work(3, last - dt.timedelta(days=6), None, "hand cleaning"),
        Work(4, last - dt.timedelta(days=3), None, "solenoid replaced"),
    ]


def _steps(verdict: Verdict, words: tuple[str, ...]) -> tuple[Step, ...]:
    return tuple(Step(Task.FLUSH, one, touches_of(verdict)) for one in words)


def _result(
    station: Station,
    verdict: Verdict,
    entries: list[Reading | Work],
    reason: str,
    steps: tuple[str, ...],
) -> StationResult:
    readings = [e for e in entries if isinstance(e, Reading)]
    over = verdict in (Verdict.ESCALATE, Verdict.HAND_CLEAN, Verdict.FLUSH)
    episodes = (Episode(dt.date(2026, 7, 6), None, ""),) if over else ()
    judgement = Judgement(
        verdict, reason, _steps(verdict, steps), (Verdict.WATCH,) if over else (),
        verdict is Verdict.FLUSH, (), episodes,
    )  # fmt: skip
    return StationResult(
        History(station, tuple(entries)), judgement, readings[-1] if readings else None,
        14 if over else None, dt.date(2026, 7, 14) if over else None, None,
    )  # fmt: skip


def _book(raw: dict[str, dict[int, object]], readings_sheet: str, farm: str) -> Book:
    def table(sheet: contract.Sheet, name: str, raw: dict[str, dict[int, object]]) -> Table:
        places = {column.key: place for place, column in enumerate(sheet.columns)}
        return Table(name, 1, places, pd.DataFrame(), raw)

    return Book(
        path="demo.xlsx",
        settings=Settings(farm=farm),
        stations=table(contract.STATIONS, "Stations", {"drop_limit": {2: 5.0}}),
        readings=table(contract.READINGS, readings_sheet, raw),
        work=table(contract.WORK, "Work done", {}),
        agreed=table(contract.AGREED, "Agreed", {}),
        setting_cells={"drop_limit": "B5"},
        counts={"readings": Counts(1234, 1230, 4), "work": Counts(33, 33, 0)},
        sheet_names=("Farm", "Stations", readings_sheet, "Work done", "Agreed"),
    )


def _findings() -> tuple[Finding, ...]:
    return (
        find("flush-signs-blank", sheet="Work done", cell="G4", read="empty",
             accepted="yes or no", station="North 1"),
        find("cell-not-number", sheet="Readings", cell="D7", read='"2,4,1"',
             accepted="a number", station="North 2"),
        find("date-after-review", sheet="Readings", cell="B9", read="2026-08-01",
             accepted="up to 2026-07-20"),
        find("sheet-missing", sheet="Agreed", cell="", read="no such sheet",
             accepted="a sheet called Agreed"),
    )  # fmt: skip


def whole(parts: ResultBook) -> bytes:
    """The result sheets with the rows of their long tables, as a book gets them."""
    target = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(parts.package)) as old,
        zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            data, fill = old.read(name), parts.longer.get(name)
            item = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
            new.writestr(item, data if fill is None else b"".join(fill(data)))
    return target.getvalue()
