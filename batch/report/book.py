"""What the terminal says of a book: the short table, and the JSON document."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from siltbook.batch.cautions import touched_at, touched_for
from siltbook.batch.model import CALM, FlowFit
from siltbook.batch.numbers.history import station_gauge
from siltbook.batch.remarks import beside_advice
from siltbook.batch.report.bill import farm_costs_json, station_loss_json
from siltbook.batch.report.fitting import padded, short_names, width
from siltbook.batch.report.water import grade_json, water_json
from siltbook.batch.results import Assessment, StationResult
from siltbook.checks.findings import Finding, Severity
from siltbook.templates.safety import cautions

if TYPE_CHECKING:
    from siltbook.batch.numbers.effectiveness import Effectiveness, SharesGivenBack
    from siltbook.batch.numbers.runs import Run
    from siltbook.batch.remarks import Remark
    from siltbook.checks.gauges import GaugeFitness

# Keys of 0.1 beside those that took their place: documents of 0.2 hold both, of 0.3 the new ones.
DEPRECATED_RUN_KEYS = {
    "start": "begins",
    "end": "ends",
    "rate_low": "slowest",
    "rate_high": "fastest",
    "valid": "believable",
    "inferred": "concluded",
    "recovered": "given_back",
}


def station_json(result: StationResult) -> dict[str, Any]:
    """One station of the `--json` document; drops and limits in [m]."""
    latest = result.latest
    return {
        "station": result.station.name,
        "verdict": str(result.verdict),
        "drop_m": None if latest is None else latest.drop,
        "limit_m": result.station.limit,
        "read_on": None if latest is None else latest.date.isoformat(),
        "reason": result.judgement.reason,
        "remarks": [remark_json(remark) for remark in result.remarks],
        "remarks_earlier": [remark_json(remark) for remark in result.earlier],
        "also": [str(v) for v in result.judgement.also],
        "borderline": result.judgement.borderline,
        "drop_u_m": None if latest is None else latest.u_drop,
        "p_over": None if latest is None else latest.p_over,
        "steps": [step.words for step in result.judgement.steps],
        "days_over": result.days_over,
        "days_over_at_least": result.days_at_least,
        **_outlook_json(result),
        "flow_exponent": _exponent_json(result.history.flow_fit),
        "gauge": _gauge_json(station_gauge(result.station.now)),
    }


def remark_json(remark: Remark) -> dict[str, Any]:
    """What a person noted at a station, whole; `date` None where the sheet has none."""
    return {
        "sheet": remark.sheet,
        "row": remark.row,
        "date": _iso(remark.day),
        "at": remark.at or None,
        "remark": remark.words,
        "state": remark.state or None,
        "first": _iso(remark.first),
    }


def _exponent_json(fit: FlowFit) -> dict[str, Any]:
    """The exponent of h ~ Q^n with its evidence; flows in [m3/h]."""
    return {
        "n": fit.n,
        "estimate": fit.estimate,
        "low": fit.low,
        "high": fit.high,
        "readings": fit.readings,
        "flow_low": fit.flow_low,
        "flow_high": fit.flow_high,
        "why_default": fit.why_default or None,
    }


def _gauge_json(fitness: GaugeFitness) -> dict[str, Any]:
    """Smallest excess told [m]: now, with half the division, with a selector, with both."""
    return {
        "smallest_excess_m": fitness.now,
        "half_division_m": fitness.finer,
        "one_gauge_m": fitness.selector,
        "both_m": fitness.both,
    }


def _iso(day: dt.date | None) -> str | None:
    return None if day is None else day.isoformat()


def _outlook_json(result: StationResult) -> dict[str, Any]:
    """Runs [m/day], forecast (ISO dates) and cost of dirt [kWh, the farm's currency]."""
    outlook = result.outlook
    if outlook is None:
        return {}
    expected = outlook.forecast
    return {
        "forecast": {
            "date": _iso(expected.date),
            "low": _iso(expected.low),
            "high": _iso(expected.high),
            "silent": expected.silent or None,
            "passed": _iso(expected.passed),
            "curve": expected.curve or None,
            "basis": expected.basis or None,
        },
        "runs": [_run_json(run) for run in outlook.runs],
        "read_by": _iso(result.judgement.read_by),
        "energy_kwh": outlook.cost.energy_kwh,
        "energy_cost": outlook.cost.energy_cost,
        **_worth_json(outlook.effectiveness),
    }


def _worth_json(effectiveness: Effectiveness) -> dict[str, Any]:
    """Shares given back [-] and the creep of the clean drop [m/day]."""
    creep = effectiveness.creep
    return {
        "flush_worth": _give_back_json(effectiveness.flush),
        "cleaning_worth": _give_back_json(effectiveness.cleaning),
        "clean_creep_m_per_day": creep.m_per_day,
        "clean_creep": {
            "low": creep.low,
            "high": creep.high,
            "cleanings": creep.levels,
            "silent": creep.silent or None,
        },
        "notes": list(effectiveness.notes),
    }


def _give_back_json(shares: SharesGivenBack) -> dict[str, Any]:
    return {
        "count": shares.count,
        "median": shares.median,
        "low": shares.low,
        "high": shares.high,
        "silent": shares.silent or None,
    }


def _run_json(run: Run) -> dict[str, Any]:
    """One run: ISO dates, rates [m/day], share given back [-]; docs/method.md lists the keys."""
    said = {
        "begins": run.begins.isoformat(),
        "ends": run.ends.isoformat(),
        "slowest": run.slowest,
        "fastest": run.fastest,
        "believable": run.believable,
        "concluded": run.concluded,
        "given_back": run.given_back,
    }
    return {
        **said,
        "readings": len(run.days),
        "rate_m_per_day": run.rate,
        "why": run.why,
        "opened_by": run.opened_by,
        "rows": list(run.rows),
        "ended_by": run.ended_by,
        **{old: said[now] for old, now in DEPRECATED_RUN_KEYS.items()},
    }


def finding_json(finding: Finding) -> dict[str, Any]:
    """One finding of the `--json` document."""
    return {
        "rule": finding.rule,
        "severity": str(finding.severity),
        "sheet": finding.sheet,
        "cell": finding.cell,
        "message": finding.message,
    }


def book_json(assessment: Assessment, path: str, output: str | None) -> dict[str, Any]:
    """One book of the `--json` document."""
    rows = {
        sheet: {"read": c.read, "used": c.used, "set_aside": c.set_aside}
        for sheet, c in assessment.book.counts.items()
    }
    bill = assessment.bill
    lost = {} if bill is None else {b.station: station_loss_json(b) for b in bill.stations}
    rule = assessment.book.settings.passage_rule
    stations = [
        {**station_json(r), **lost.get(r.station.name, {}), **grade_json(r.station, rule)}
        for r in assessment.stations
    ]
    return {
        "path": path,
        "farm": assessment.book.settings.farm,
        "as_of": None if assessment.as_of is None else assessment.as_of.isoformat(),
        "stations": stations,
        "findings": [finding_json(f) for f in assessment.findings],
        "cautions": list(book_cautions(assessment)),
        "output": output,
        "rows": rows,
        "costs": None if bill is None else farm_costs_json(bill, assessment.book.settings.currency),
        "water": water_json(assessment),
        "remarks_of_no_station": [remark_json(remark) for remark in assessment.homeless],
    }


def book_cautions(assessment: Assessment) -> tuple[str, ...]:
    """The cautions for what the book's stations and findings ask people to do."""
    touched = touched_at(assessment.stations) | touched_for(assessment.findings)
    return cautions(touched)


def printable(text: str) -> str:
    """People's text for a terminal: control characters would move the cursor or ring the bell."""
    return "".join(c if c.isprintable() else " " for c in text)


def count_findings(findings: tuple[Finding, ...]) -> str:
    """For example '2 errors, 1 doubt'; 'no findings' where there are none."""
    counts = [(s, sum(f.severity is s for f in findings)) for s in Severity]
    said = [f"{n} {s}{'' if n == 1 else 's'}" for s, n in counts if n]
    return ", ".join(said) or "no findings"


def short_table(assessment: Assessment, path: str) -> list[str]:
    """Lines for the terminal: what needs doing, most urgent first."""
    from siltbook.batch.unjudged import noted_calm, resting_over, unused
    from siltbook.templates.look import VERDICTS

    farm = assessment.book.settings.farm
    on = assessment.book.settings.shown.as_of(assessment.as_of, "no entries")
    lines = [f"{path}{f' · {farm}' if farm else ''} · as of {on}"]
    doing = [r for r in assessment.stations if r.verdict not in CALM]
    # Among all stations: the one that needs something must not be taken for one that does not.
    names = short_names((r.station.name for r in assessment.stations), printable)
    wide = max((width(names[r.station.name]) for r in doing), default=0)
    for result in doing:
        shown = VERDICTS[str(result.verdict)].shown
        name = padded(names[result.station.name], wide)
        lines.append(f"  {shown:<16} {name}  {result.judgement.reason}")
        lines += [f"  {'':<16} {'':<{wide}}  {said}" for said in beside_advice(result)]
    calm = len(assessment.stations) - len(doing)
    lines.append(f"  {calm} of {len(assessment.stations)} stations need nothing now")
    results = assessment.stations
    beside = (*unused(assessment), *resting_over(results), *noted_calm(results))
    lines += [f"  {line}" for line in beside]
    lines.append(f"  {count_findings(assessment.findings)} in the data")
    return [printable(line) for line in lines]
