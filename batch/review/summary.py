"""What the terminal says of a pack: its path, a few lines, and a small JSON document."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from siltbook.batch.model import Verdict
from siltbook.batch.remarks import beside_advice
from siltbook.batch.report.book import remark_json
from siltbook.batch.review.agenda import Item, agreed_line, items, touched
from siltbook.batch.review.agree import Carried
from siltbook.batch.review.logs import agreed, episodes, flushes
from siltbook.batch.review.money import farm_line, station_costs
from siltbook.batch.review.page import Pack
from siltbook.batch.review.questions import questions
from siltbook.templates.safety import cautions

_MOST = 12  # cells that one line names


def lines(pack: Pack) -> Iterator[str]:
    """The review in a few lines: stations that need a decision, what was agreed, the cost."""
    from siltbook.templates.look import VERDICTS

    books = f"{len(pack.farms)} book{'' if len(pack.farms) == 1 else 's'}"
    also = f", {len(pack.others)} not of this month, compared only" if pack.others else ""
    on = pack.shown.as_of(pack.month.last, "")
    yield f"Review of {pack.month.words} · {books}{also} · as of {on}"
    listed = items(pack)
    for item in listed:
        shown = VERDICTS[item.result.verdict].shown
        name = item.result.station.name
        yield f"  {shown:<16} {item.farm.farm}, {name}: {item.result.judgement.reason}"
        yield from (f"  {'':<16} {said}" for said in beside_advice(item.result))
    total = sum(len(f.now.stations) for f in pack.farms)
    yield f"  {len(listed)} of {total} stations need a decision"
    if said := agreed_line(pack):
        yield f"  {said}"
    costs = station_costs(pack)
    yield "  Cost of dirt: " + " ".join(farm_line(farm, costs) for farm in pack.farms)


def pack_json(pack: Pack, target: Path, pdf: Path | None, failed: Sequence[str]) -> dict[str, Any]:
    """The counts of a pack as one document; energy [kWh], None where it is known of no station."""
    proofs = Counter(str(fact.proof) for _, _, fact in flushes(pack))
    ends = Counter(spell.ending for _, _, spell in episodes(pack))
    known = [c.now.energy_kwh for c in station_costs(pack) if c.now]
    energy = [kwh for kwh in known if kwh is not None]
    return {
        "month": str(pack.month),
        "as_of": pack.month.last.isoformat(),
        "books": [
            {"file": f.file, "farm": f.farm, "sha256": f.fingerprint,
             "stations": len(f.now.stations), "verdicts": _verdicts(f.now.stations),
             "verdicts_before": _verdicts(f.then.stations)}
            for f in pack.farms
        ],
        "compared_only": [f.file for f in pack.others],
        "agenda": [_item_json(item) for item in items(pack)],
        "agreed": dict(Counter(str(row.kept) for _, row in agreed(pack))),
        "episodes": dict(ends),
        "flushes": dict(proofs),
        "energy_kwh": math.fsum(energy) if energy else None,
        "data_questions": sum(len(q.findings) for q in questions(pack)),
        "cautions": list(cautions(touched(items(pack)))),
        "notes": list(pack.notes),
        "output": str(target),
        "pdf": None if pdf is None else str(pdf),
        "failed": list(failed),
    }  # fmt: skip


def _verdicts(results: Sequence[Any]) -> dict[str, int]:
    counts = Counter(r.verdict for r in results)
    return {str(v): counts[v] for v in Verdict if counts[v]}


def _item_json(item: Item) -> dict[str, Any]:
    before = item.farm.before(item.result.station.name)
    return {
        "farm": item.farm.farm,
        "station": item.result.station.name,
        "then": str(before.verdict),
        "now": str(item.result.verdict),
        "reason": item.result.judgement.reason,
        "remarks": [remark_json(remark) for remark in item.result.remarks],
        "remarks_earlier": [remark_json(remark) for remark in item.result.earlier],
        "days_over": item.result.days_over,
        "days_over_at_least": item.result.days_at_least,
        "unkept": [row.action for row in item.unkept],
    }


def carried_lines(carried: Carried, book: Path, kept: Path | None) -> Iterator[str]:
    """What became of the rows that a meeting filled in."""
    if carried.changed and carried.rows:
        yield f"{book} changed since the pack was made; its rows were matched by name."
    if carried.rows:
        rows = "row" if len(carried.rows) == 1 else "rows"
        span = ", ".join(map(str, carried.rows))
        added = f"{len(carried.rows)} {rows} added to the sheet {carried.sheet}"
        yield f"{book}: {added} ({rows} {span})."
        if carried.already:
            yield f"  {carried.already} more stood there already."
        yield f"  Previous book: {kept}"
    elif carried.already:
        yield (
            f"{book}: nothing added; all {carried.already} filled rows of this farm already stand "
            f"on the sheet {carried.sheet}."
        )
    else:
        yield f"{book}: nothing added; {carried.source} has no filled row for this farm."
    if carried.others:
        yield f"  {carried.others} filled for other farms: run agree with their books too."
    if carried.idle:
        cells = ", ".join(carried.idle)
        yield f"  Without an action, so not taken: {cells}."
    if carried.done:
        more = f" and {len(carried.done) - _MOST} more" if len(carried.done) > _MOST else ""
        cells = ", ".join(carried.done[:_MOST])
        yield (
            f"  Done in the pack, not in the book: {cells}{more}. Done dates are not carried "
            f"over: type them on the sheet {carried.sheet}."
        )
