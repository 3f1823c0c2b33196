"""The work that a row of a source speaks of: one proposal each, with its words and its signs."""

from __future__ import annotations

from collections.abc import Iterator

from siltbook.batch.adopt.context import Context, names, names_of, parts_of
from siltbook.batch.adopt.model import STRUCK, Found
from siltbook.batch.adopt.notes import Proposal, proposals, yes_no
from siltbook.batch.reading.numerals import one_number
from siltbook.batch.reading.parsing import choice
from siltbook.batch.reading.unread import NOT_GIVEN, NOT_READ, says
from siltbook.templates.contract import WORK, WORKS

STRUCK_OUT = "struck"  # key of a proposal that somebody struck through: it enters on a yes alone
_SIGNS = ("click", "water", "water heard")
_NO_FLUSH = ("", "none", "nil")  # words for no cycles


def work_of(context: Context) -> Iterator[dict[str, object]]:
    """The work that a row's notes and columns speak of, one proposal each."""
    stations = names_of(context.found, context.station)
    seen: set[tuple[str, str]] = set()
    for text, name in [*((t, "") for t in context.texts("work")), *_noted(context, stations)]:
        station = name or _named(text, stations)
        for one in _said(text.removesuffix(STRUCK)):
            if (station, one.work) not in seen:
                seen.add((station, one.work))
                yield _as_work(context, one, station, text)
    if all(work != "flush" for _, work in seen) and (words := _flushed(context)):
        yield _as_work(context, Proposal("flush", words), _named("", stations), words)


def _noted(context: Context, stations: list[str]) -> list[tuple[str, str]]:
    """What is noted in a row, with the station whose own column of notes it stands in."""
    if _own_notes(context.found):
        return [(text, n) for n in stations for text in context.texts("note", n)]
    texts = context.texts("note")
    parts = [p for t in texts for p in parts_of(t, stations)] if len(stations) > 1 else texts
    return [(part, "") for part in parts]


def _own_notes(found: Found) -> bool:
    return any(c.station for c in found.of("note"))


def _said(text: str) -> tuple[Proposal, ...]:
    exact = choice(text, WORKS) if text else None
    if exact and exact != "other":
        return (Proposal(exact, text),)
    return proposals(text) if text else ()


def _named(text: str, stations: list[str]) -> str:
    """The station that a note is about: the only one, or the one that it names; '' if open."""
    if len(stations) == 1:
        return stations[0]
    named = [s for s in stations if names(text, s)]
    return named[0] if len(named) == 1 else ""


def _flushed(context: Context) -> str:
    """The words of a flush that a row's columns of cycles or signs alone speak of; '' of none."""
    for role in ("cycles", *_SIGNS):
        typed = context.text(role)
        if typed and (_counted(typed) if role == "cycles" else yes_no(typed) == "yes"):
            return f"{context.found.of(role)[0].header}: {typed}"
    return ""


def signs_left(context: Context) -> list[str]:
    """What stands under cycles and signs of a row of which no flush is proposed, by header."""
    left = []
    for role in ("cycles", *_SIGNS):
        typed = context.text(role)
        nothing = role == "cycles" and not _counted(typed)
        if says(typed) and not nothing:
            left.append(f"{context.found.of(role)[0].header}: {typed}")
    return left


def _counted(typed: str) -> bool:
    """Whether a cell of cycles says that there was a flush, readable or not."""
    number = _cycles(typed)
    if isinstance(number, float):
        return number != 0
    return says(typed, NOT_READ) and yes_no(typed) != "no" and typed.casefold() not in _NO_FLUSH


def _cycles(typed: str) -> float | str:
    """The number of cycles that a cell says, else the cell's own words; '' for a plain yes."""
    number = one_number(WORK.column("cycles"), typed, 0).value
    if number is not None:
        return number
    return typed if says(typed) and not yes_no(typed) else ""


def sign(noted: str, typed: str) -> str:
    """A sign of a flush by a note (yes, no, '') and by its own cell: the worse of the two.

    Words that say neither go on as they were typed, so that the book asks for them.
    """
    cell = yes_no(typed) or (typed if says(typed, NOT_GIVEN) else "")
    if "no" in (noted, cell):
        return "no"
    return cell or noted


def _as_work(context: Context, one: Proposal, station: str, text: str) -> dict[str, object]:
    made: dict[str, object] = {"station": station, "date": context.date, "work": one.work}
    if context.time is not None:
        made["time"] = context.time
    if one.work == "flush":
        typed = context.text("cycles")
        cycles = _cycles(typed) if typed and one.cycles is None else one.cycles
        click = sign(one.click, context.text("click"))
        water = sign(one.water, context.text("water"))
        heard = sign("", context.text("water heard"))
        said = (("cycles", cycles), ("click", click), ("water", water), ("water_heard", heard))
        made |= {key: value for key, value in said if value not in (None, "")}
    if who := context.text("read by"):
        made["done_by"] = who
    struck = bool(context.void) or STRUCK in text  # or a part of it, which may be the work
    words = one.words.removesuffix(STRUCK) + STRUCK if struck else one.words
    made |= {"remark": text, "words": words, "where": context.found.where(context.row)}
    return made | ({STRUCK_OUT: True} if struck else {})
