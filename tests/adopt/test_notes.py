"""What a note says was done, in six languages; what it denies or plans is not proposed."""

from __future__ import annotations

import pytest

from siltbook.batch.adopt.notes import proposals

CLEANED = [("hand cleaning", None, "", "")]
SAID = [
    ("flushed 3x, no click", [("flush", 3, "no", "")]),
    ("cleaned screen", [("hand cleaning", None, "", "")]),
    ("new solenoid", [("solenoid replaced", None, "", "")]),
    ("called service", [("called out", None, "", "")]),
    ("flush x2 then cleaned by hand", [("flush", 2, "", ""), ("hand cleaning", None, "", "")]),
    ("lavado 3 veces, sin clic", [("flush", 3, "no", "")]),
    ("limpeza manual; solenoide novo", [*CLEANED, ("solenoid replaced", None, "", "")]),
    ("rincé 3 fois, pas d'eau", [("flush", 3, "", "no")]),
    ("pulizia rete", [("hand cleaning", None, "", "")]),
    ("gespült 3x, kein Klick", [("flush", 3, "no", "")]),
    ("Sieb gereinigt, neue Magnetspule", [*CLEANED, ("solenoid replaced", None, "", "")]),
]  # fmt: skip
NOT_SAID = [
    "not flushed", "needs flush tomorrow", "read after flush", "no flush, no time", "to be cleaned",
    "muss gespült werden", "hay que limpieza", "pas rincé", "windy", "", "pump off", "non pulito",
]  # fmt: skip


@pytest.mark.parametrize(("note", "wanted"), SAID)
def test_work_that_was_done_is_proposed(note: str, wanted: list[tuple[object, ...]]) -> None:
    assert [(p.work, p.cycles, p.click, p.water) for p in proposals(note)] == wanted


@pytest.mark.parametrize("note", NOT_SAID)
def test_work_that_was_not_done_is_not_proposed(note: str) -> None:
    assert proposals(note) == ()
