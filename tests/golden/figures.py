"""What is kept of a sample, and how two of these are compared."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from siltbook.batch.job import assess_bytes
from siltbook.batch.report.book import book_json

ROOT = Path(__file__).parents[2]
SAMPLES = ROOT / "sample_workbooks"
KEPT = Path(__file__).parent
DIGITS = 9  # significant; beyond them two machines may differ
NEAR = 1e-6  # relative


def books() -> list[Path]:
    """Every sample that is a workbook of the contract; as-kept/ is what `adopt` makes books of."""
    return sorted(p for p in SAMPLES.rglob("*.xlsx") if p.parent.name != "as-kept")


def kept(book: Path) -> Path:
    """Where a sample's figures are kept."""
    return KEPT / f"{'-'.join(book.relative_to(SAMPLES).with_suffix('').parts)}.json"


def figures(book: Path) -> dict[str, Any]:
    """A sample's JSON document, with the long lists as what identifies them."""
    made = book_json(assess_bytes(book.read_bytes(), book.name), book.name, None)
    for station in made["stations"]:
        station["runs"] = [
            f"{run['begins']} to {run['ends']}, {run['readings']} readings, by {run['ended_by']}"
            for run in station.get("runs", ())
        ]
        station.pop("steps", None)
    made["findings"] = [f"{f['rule']} at {f['sheet']}!{f['cell']}" for f in made["findings"]]
    plain: dict[str, Any] = json.loads(json.dumps(made), parse_float=_rounded)
    return plain


def _rounded(text: str) -> float:
    return float(f"{float(text):.{DIGITS}g}")


def differences(was: Any, now: Any, where: str = "") -> Iterator[str]:
    """Where two documents differ, as sentences; figures within `NEAR` are the same."""
    if isinstance(was, dict) and isinstance(now, dict):
        for key in sorted({*was, *now}):
            if key not in was or key not in now:
                yield f"{where}.{key}: {'gone' if key in was else 'new'}"
            else:
                yield from differences(was[key], now[key], f"{where}.{key}")
    elif isinstance(was, list) and isinstance(now, list):
        if len(was) != len(now):
            yield f"{where}: {len(was)} entries, now {len(now)}"
        for n, (one, other) in enumerate(zip(was, now, strict=False)):
            yield from differences(one, other, f"{where}[{n}]")
    elif isinstance(was, float) or isinstance(now, float):
        if was is None or now is None or not math.isclose(was, now, rel_tol=NEAR, abs_tol=1e-9):
            yield f"{where}: {was!r}, now {now!r}"
    elif was != now:
        yield f"{where}: {was!r}, now {now!r}"


def write() -> None:
    """Keep every sample's figures as they are now."""
    for old in KEPT.glob("*.json"):
        old.unlink()
    for book in books():
        text = json.dumps(figures(book), indent=1, sort_keys=True, ensure_ascii=False)
        kept(book).write_text(f"{text}\n", encoding="utf-8")
