"""The month's flushes: which are proven, which are not and why, and what the drop did."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from siltbook.batch.ladder.replay import missing_cycles
from siltbook.batch.model import CLEARS, Reading, Work
from siltbook.batch.results import StationResult
from siltbook.batch.review.month import Month
from siltbook.checks.gauges import NOISE
from siltbook.templates.book import Settings


class Proof(StrEnum):
    """Whether the log shows that a flush really happened."""

    PROVEN = "proven"
    TAKEN = "taken as complete"  # something was not noted, and a blank is not a no
    NOT_PROVEN = "not proven"


@dataclass(frozen=True)
class FlushFact:
    """One flush with its proof and the usable readings on either side of it.

    `after` is None where other cleaning or no reading follows, so that no drop speaks for it.
    """

    work: Work
    proof: Proof
    why: str
    before: Reading | None
    after: Reading | None


def flush_facts(result: StationResult, settings: Settings, month: Month) -> tuple[FlushFact, ...]:
    """The station's flushes of the month, in order, judged by the ladder's rules."""
    entries = result.history.entries
    found = []
    for at, entry in enumerate(entries):
        if isinstance(entry, Work) and entry.work == "flush" and entry.date in month:
            proof, why = proof_of(entry, settings)
            before = next(_readings(reversed(entries[:at])), None)
            after = next(_readings(_until_cleared(entries[at + 1 :])), None)
            found.append(FlushFact(entry, proof, why, before, after))
    return tuple(found)


def proof_of(flush: Work, settings: Settings) -> tuple[Proof, str]:
    """Whether a flush is proven, and what is missing, as one clause."""
    faults = list(_faults(flush, settings))
    if faults:
        return Proof.NOT_PROVEN, ", ".join(faults)
    blanks = list(_blanks(flush))
    return (Proof.TAKEN, f"not noted: {', '.join(blanks)}") if blanks else (Proof.PROVEN, "")


def _faults(flush: Work, settings: Settings) -> Iterator[str]:
    yield from flush.missing_signs
    if missing_cycles(flush, settings.flush_cycles):
        yield f"{flush.cycles:g} of {settings.flush_cycles} cycles"
    if flush.flush_inlet is not None and flush.flush_inlet < settings.flush_inlet - NOISE:
        inlet, least = settings.shown.under(flush.flush_inlet, settings.flush_inlet)
        yield f"inlet fell to {inlet}, asked {least}"


def _blanks(flush: Work) -> Iterator[str]:
    if flush.cycles is None:
        yield "cycles"
    if flush.click is None:
        yield "click"
    if flush.water is None:
        yield "water at the outlet"
    if flush.flush_inlet is None:
        yield "lowest inlet"


def _readings(entries: Iterator[Reading | Work]) -> Iterator[Reading]:
    for entry in entries:
        if isinstance(entry, Reading) and entry.usable and entry.drop is not None:
            yield entry


def _until_cleared(entries: tuple[Reading | Work, ...]) -> Iterator[Reading | Work]:
    for entry in entries:
        if isinstance(entry, Work) and entry.work in CLEARS:
            return
        yield entry
