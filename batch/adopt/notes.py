"""From what somebody noted to work that is proposed: by the word table, each with its words.

A proposal is never more than that: it stands in the mapping and enters only if it is left there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from siltbook.batch.adopt.words import find_phrase, longest_first, plain, table

WORKS = (
    "solenoid replaced", "controller replaced", "screen replaced", "hand cleaning", "called out",
    "flush",
)  # fmt: skip
_CLAUSE = re.compile(r"[,;.!?\n/+]|\s[-–]\s|\b(?:and|then|y|e|et|und|puis|luego|dann|poi)\b", re.I)
_SIGNS = ("no click", "no water", "click", "water")


@dataclass(frozen=True)
class Proposal:
    """One piece of work that a note speaks of. `words`: the clause that it comes from."""

    work: str
    words: str
    cycles: float | None = None
    click: str = ""
    water: str = ""


def proposals(note: str) -> tuple[Proposal, ...]:
    """The work that a note says was done, in its order; nothing that it denies or plans."""
    found: list[Proposal] = []
    signs = _signs(tuple(plain(note).split()))
    for clause in _CLAUSE.split(note):
        tokens = tuple(plain(clause).split())
        for work in _works(tokens):
            if all(p.work != work for p in found):
                cycles = _cycles(tokens) if work == "flush" else None
                found.append(Proposal(work, clause.strip(), cycles))
    return tuple(_signed(p, signs) if p.work == "flush" else p for p in found)


def _works(tokens: tuple[str, ...]) -> list[str]:
    names = table("note")
    rest = list(tokens)
    for phrase in longest_first("note"):  # signs go first: their 'no' denies no work
        if set(names[" ".join(phrase)]) & {"no click", "no water"}:
            at = find_phrase(tuple(rest), phrase)
            if at >= 0:
                rest[at : at + len(phrase)] = [""] * len(phrase)
    works: list[tuple[int, str]] = []
    for phrase in longest_first("note"):
        meant = [m for m in names[" ".join(phrase)] if m in WORKS]
        at = find_phrase(tuple(rest), phrase)
        if at < 0 or not meant:
            continue
        if not _denied(rest, at, at + len(phrase)):
            works.append((at, meant[0]))
        rest[at : at + len(phrase)] = [""] * len(phrase)
    return [work for _, work in sorted(works)]


def _denied(tokens: list[str], first: int, end: int) -> bool:
    """Whether a clause says that the work was not done, is still to come, or is a time only."""
    names = table("note")
    for phrase in longest_first("note"):
        meant = names[" ".join(phrase)]
        at = find_phrase(tuple(tokens), phrase)
        if at < 0 or (first <= at < end):
            continue
        if "not" in meant or ("prior" in meant and at < first):
            return True
    return False


def _cycles(tokens: tuple[str, ...]) -> float | None:
    """The number of cycles: 3x, x3, 3 times; None where none is said."""
    times = "|".join(w for w, m in table("note").items() if "times" in m)
    text = " ".join(tokens)
    found = re.search(rf"\b([0-9]{{1,2}})\s*(?:{times})\b", text) or re.search(
        r"\bx\s*([0-9]{1,2})\b", text
    )
    return float(found[1]) if found else None


def _signs(tokens: tuple[str, ...]) -> dict[str, str]:
    """Click and water as a note says them: yes, no, or not at all."""
    said: dict[str, str] = {}
    rest = list(tokens)
    names = table("note")
    for wanted in _SIGNS:
        key = wanted.removeprefix("no ")
        for phrase in longest_first("note"):
            if wanted not in names[" ".join(phrase)]:
                continue
            at = find_phrase(tuple(rest), phrase)
            if at >= 0:
                said.setdefault(key, "no" if wanted.startswith("no ") else "yes")
                rest[at : at + len(phrase)] = [""] * len(phrase)
    return said


def _signed(proposal: Proposal, signs: dict[str, str]) -> Proposal:
    return Proposal(
        proposal.work,
        proposal.words,
        proposal.cycles,
        signs.get("click", ""),
        signs.get("water", ""),
    )


def yes_no(text: str) -> str:
    """yes, no, or '' where a cell says neither, or asks ('yes?')."""
    if "?" in text:
        return ""
    meanings = table("yesno").get(plain(text), ())
    return meanings[0] if len(meanings) == 1 else ""


def occasion_of(text: str) -> str:
    """The contract's occasion that a cell says; '' where it says none."""
    meanings = table("occasion").get(plain(text), ())
    return meanings[0] if len(meanings) == 1 else ""
