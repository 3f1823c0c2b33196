"""What the worker tells the window: plain values, with nothing of a screen in them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Need:
    """A station that needs something: its verdict's id, the reason, and what was noted there."""

    station: str
    verdict: str
    reason: str
    noted: tuple[str, ...] = ()


@dataclass(frozen=True)
class Row:
    """One book as last judged; `failure` is the one sentence where that was not possible.

    `needs` most urgent first; `calm` counts the stations that need nothing; `cautions` belong to
    what is needed; `said` are lines on what somebody typed into results, `notes` those on what was
    not seen of the book. `reviewed` is where the result is; None where there is none.
    """

    book: Path
    reviewed: Path | None = None
    as_of: str = ""
    needs: tuple[Need, ...] = ()
    calm: int = 0
    cautions: tuple[str, ...] = ()
    failure: str = ""
    said: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Progress:
    """Book number `done` of `count` is finished; `doing` is what is under way now."""

    done: int
    count: int
    doing: str


@dataclass(frozen=True)
class Made:
    """A paper or a folder was made: what it is called, the file to open, and what was said."""

    what: str
    path: Path
    said: tuple[str, ...]


@dataclass(frozen=True)
class Failed:
    """What was asked for could not be done, in one sentence."""

    sentence: str


@dataclass(frozen=True)
class Idle:
    """Everything that was asked for is done; `watching` is the folder that is watched."""

    watching: Path | None = None


Event = Row | Progress | Made | Failed | Idle


def row_of(book: Path, reviewed: Path, entry: dict[str, Any], said: tuple[str, ...]) -> Row:
    """The row for a book that was judged, from its entry as the command's --json has it."""
    from siltbook.batch.model import CALM

    stations = entry["stations"]
    needs = tuple(
        Need(s["station"], s["verdict"], s["reason"], _noted(s))
        for s in stations
        if s["verdict"] not in CALM
    )
    return Row(
        book, reviewed, entry["as_of"] or "", needs, len(stations) - len(needs),
        tuple(entry["cautions"]), "", said,
    )  # fmt: skip


def _noted(station: dict[str, Any]) -> tuple[str, ...]:
    """A station's remarks, each with its day, as the document has them."""
    from siltbook.batch.remarks import clipped

    said = [
        f"Noted {remark['date'] or 'on ' + remark['sheet']}{_state(remark)}:"
        f" {clipped(remark['remark'])}"
        for remark in station["remarks"]
    ]
    earlier = len(station["remarks_earlier"])
    return (*said, f"Earlier remarks, in the book: {earlier}.") if earlier else tuple(said)


def _state(remark: dict[str, Any]) -> str:
    state = remark["state"]
    return f" ({state}, {remark['sheet']} row {remark['row']})" if state else ""


def in_short(row: Row) -> str:
    """What there is to do in a book, in the words of `siltbook watch`; or why it is not known."""
    from siltbook.batch.commands.watch import summary

    if row.failure:
        return row.failure
    if not row.needs and not row.calm:
        return "no station in this book"
    return summary([need.verdict for need in row.needs])


def fitted(row: Row, fits: Callable[[str], bool]) -> str:
    """The same, as much as `fits` on its line: the most urgent in full, the rest as a number.

    A sentence ends at a word, with dots: the whole of it stands below the list.
    """
    whole = in_short(row)
    if fits(whole):
        return whole
    if row.failure or not row.needs:
        words = whole.removeprefix(str(row.book)).lstrip(": ").split(" ")
        cuts = (" ".join(words[:n]) + " …" for n in range(len(words) - 1, 0, -1))
    else:
        parts, count = whole.split(", "), len(row.needs)
        told = [int(part.split(" ")[0]) for part in parts]
        cuts = (
            f"{', '.join(parts[:n])} and {count - sum(told[:n])} more"
            for n in range(len(parts) - 1, 0, -1)
        )
    return next((cut for cut in cuts if fits(cut)), "…")
